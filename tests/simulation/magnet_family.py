"""Scenes of three free magnets and a mesh, drawn by seed; of the odd ones one magnet is on a rail
and one is carried by a hand.

`python magnet_family.py FIRST LAST`, from this folder, releases the scenes of those seeds and
prints for each: outcome, reason, share of the energy unaccounted, deepest overlap by the code that
is independent of the contact search [m], worst misfit of a contact step [m/s], blows, how many of
them jammed, and processor time [s].
"""

import sys
import time

import numpy as np
from random_scenes import MAGNET, WOOD, _clear, _lowest, _row, _side, _state, _surfaces, _turn

from snapsim.mechanics.joints import WORLD, hold, slide
from snapsim.numerics import rotations
from snapsim.parts.shapes import Box, Cylinder, Mesh, Prism, Sphere
from snapsim.run.release import release
from snapsim.simulation.system import System

SHAPES = Box((0.03, 0.02, 0.012)), Cylinder(0.024, 0.014), Sphere(0.022)


def scene(seed):
    """The system of a seed."""
    rng = np.random.default_rng(seed)
    rows = [_row("table", Box((0.6, 0.6, 0.04)), WOOD, (0, 0, -0.02), fixed=True)]
    for k in range(4):
        for _ in range(200):
            row = _magnet(rng, k) if k < 3 else _part(rng)
            if _clear([*rows, row]):
                rows.append(row)
                break
    bodies, start = tuple(row[0] for row in rows), _state(rng, rows, 1)
    surfaces, joints = _surfaces(rng, len(bodies)), ()
    if seed % 2:
        joints = _rail(rng, bodies, start), _hand(rng, bodies, start)
    duration, pull = float(rng.uniform(0.1, 0.2)), np.array([0.0, 0.0, -9.80665])
    title = f"magnets {seed}"
    return System(title, "", bodies, start, surfaces, pull, duration, "draft", joints=joints)


def _magnet(rng, number):
    axis = [(0, 0, 1.0), (1.0, 0, 0)][rng.integers(2)]
    place = *rng.uniform(-0.08, 0.08, 2), rng.uniform(0.03, 0.12)
    shape = SHAPES[rng.integers(3)]
    return _row(f"magnet {number}", shape, MAGNET, place, _turn(rng), magnetised=axis)


def _part(rng):
    """A wedge or an angle as a surface of triangles, just over the table."""
    a, b, c = rng.uniform(0.015, 0.05, 3)
    t = 0.35 * min(a, b)
    outlines = ((0, 0), (a, 0), (0.3 * a, b)), ((0, 0), (a, 0), (a, t), (t, t), (t, b), (0, b))
    shape = Mesh(*Prism(outlines[rng.integers(2)], c).surface(0))
    turn = _turn(rng)
    place = *rng.uniform(-0.1, 0.1, 2), _lowest(shape, turn) + 1e-4
    return _row("mesh", shape, WOOD, place, turn)


def _rail(rng, bodies, start):
    """The first magnet slides along a line, with stops."""
    a, b = _side(start, 1), _side(start, WORLD)
    axis = rotations.normalise(np.append(rng.normal(size=3), 0.0))[:3]
    points = np.array([np.zeros(3), a.position])
    return slide("rail", (1, WORLD), points, axis, a, b, stops=(-0.03, 0.03), restitution=0.3)


def _hand(rng, bodies, start):
    """The second magnet is carried some centimetres, by at most 5 or 50 N."""
    a, b = _side(start, 2), _side(start, WORLD)
    points = np.array([np.zeros(3), a.position])
    way = np.array([*rng.uniform(-0.05, 0.05, 2), rng.uniform(0.0, 0.03)])
    limit = float(rng.choice([5.0, 50.0]))
    path = ((0.1, a.position + way, a.quaternion),)
    return hold("hand", (2, WORLD), points, a, b, path=path, force_limit=limit)


def main(first, last):
    for seed in range(first, last):
        began = time.process_time()
        run = release(scene(seed), estimates=False, magnetisation=False)
        audit, jams = run.audit, sum(i.jammed for i in run.impacts)
        print(
            f"{seed:4d} {run.outcome:10s} {run.ending.reason:12s}"
            f" {audit.unaccounted_fraction:9.1e} {audit.deepest_overlap:9.1e}"
            f" {run.accuracy['contact_misfit_m_s']:9.1e} {len(run.impacts):4d} {jams:3d}"
            f" {time.process_time() - began:6.2f}",
            flush=True,
        )


if __name__ == "__main__":
    main(*map(int, sys.argv[1:3]))
