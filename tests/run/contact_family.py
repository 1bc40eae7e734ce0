"""Scenes without magnets in which many contacts act: drawn by seed, run, and judged from outside.

`python tests/run/contact_family.py FIRST LAST` runs the scenes of those seeds and prints for each
the kind, outcome, reason, share of the energy unaccounted, deepest overlap by the code that is
independent of the contact search [m], and processor time [s]; then how many were trusted.
"""

import sys
import time

import numpy as np

from snapsim.numerics import rotations
from snapsim.parts.bodies import Body
from snapsim.parts.materials import Material
from snapsim.parts.shapes import Box, Compound, Cylinder, HexNut, Piece, Prism, Ring, Sphere
from snapsim.parts.states import Pose, State
from snapsim.parts.surfaces import SurfacePair, SurfaceRules
from snapsim.run.release import release
from snapsim.simulation.system import System

OAK = Material("oak", 700.0, youngs_modulus=11e9, poissons_ratio=0.35, strength=50e6)
SURFACES = [(0.0, 0.2), (0.3, 0.35), (0.6, 0.1), (0.9, 0.0), (1.0, 1.0)]


def scene(seed):
    """The kind and the system of a seed."""
    draw = np.random.default_rng(seed)
    kinds = KINDS if seed < 400 else LATER_KINDS
    kind = list(kinds)[seed % len(kinds)]
    rows = [("floor", Box((0.6, 0.6, 0.05)), (0, 0, -0.025), None, None, None), *kinds[kind](draw)]
    e, mu = SURFACES[draw.integers(len(SURFACES))]
    bodies = tuple(Body(r[0], r[1], OAK, None, r[0] == "floor") for r in rows)
    zero = (0.0, 0.0, 0.0)
    turns = [rotations.IDENTITY if r[3] is None else r[3] for r in rows]
    state = State(
        Pose(np.array([r[2] for r in rows], dtype=float), np.array(turns)),
        np.array([r[4] or zero for r in rows], dtype=float),
        np.array([r[5] or zero for r in rows], dtype=float),
    )
    rules = SurfaceRules(SurfacePair(e, mu))
    gravity = np.array([0, 0, -9.80665])
    return kind, System("drawn", "", bodies, state, rules, gravity, 0.15, "draft")


def small_parts(draw):
    """Two to four parts of 1-3 mm, tumbling onto the floor."""
    rows = []
    for k in range(draw.integers(2, 5)):
        a, b, c = draw.uniform(1e-3, 3e-3, 3)
        round_ones = Cylinder(a, b), Sphere(a), Ring(a, 0.5 * a, 0.5 * b)
        shapes = Box((a, b, c)), HexNut(a, 0.5 * a, b), *round_ones
        place = (*draw.uniform(-1e-3, 1e-3, 2), 3e-3 + 5e-3 * k)
        moving = thrown(draw, 0.2), thrown(draw, 30)
        rows.append((f"part {k}", shapes[draw.integers(5)], place, turned(draw), *moving))
    return rows


def plates(draw):
    """One or two plates fifty times as wide as thick."""
    rows = []
    for k in range(draw.integers(1, 3)):
        side = draw.uniform(0.03, 0.08)
        lean = rotations.from_axis_angle((1, 0, 0), draw.uniform(-0.4, 0.4))
        at = (0, 0, 0.02 + 0.05 * k)
        rows.append((f"plate {k}", Box((side, side, side / 50)), at, lean, thrown(draw, 0.2), None))
    return rows


def touching_row(draw):
    """Two to six equal balls or boxes in a row on the floor, struck by one at the end."""
    size, count = draw.uniform(0.005, 0.03), int(draw.integers(2, 7))
    shape = Sphere(size) if draw.random() < 0.5 else Box((size, size, size))
    rows = [(f"part {k}", shape, (size * k, 0, size / 2), None, None, None) for k in range(count)]
    first = -size * draw.uniform(1.05, 1.5)
    coming = draw.uniform(0.2, 2), 0.0, 0.0
    return [*rows, ("hammer", shape, (first, 0, size / 2), None, coming, None)]


def stack(draw):
    """Two to five boxes over each other, a little aside, some apart."""
    size = draw.uniform(0.004, 0.03)
    rise, rows = 0.5 * size, []
    for k in range(draw.integers(2, 6)):
        aside = size * draw.uniform(-0.1, 0.1, 2)
        rows.append((f"box {k}", Box((size, size, size)), (*aside, rise), None, None, None))
        rise += size + draw.choice([0.0, 1e-3])
    return rows


def compounds(draw):
    """One to three spanners, a head and a grip each, thrown down onto the floor."""
    rows = []
    for k in range(draw.integers(1, 4)):
        a, b, c = draw.uniform(0.004, 0.04, 3)
        grip = Piece(Box((b, 0.3 * a, 0.5 * c)), np.array([0.25 * a + 0.5 * b, 0, 0]))
        shape = Compound((Piece(Box((0.5 * a, a, 0.5 * c))), grip))
        moving = (*draw.uniform(-0.3, 0.3, 2).tolist(), -1.5), thrown(draw, 10)
        rows.append((f"part {k}", shape, (0, 0, 0.06 + 0.12 * k), turned(draw), *moving))
    return rows


def angles(draw):
    """One to three re-entrant angles, thrown down onto the floor."""
    rows = []
    for k in range(draw.integers(1, 4)):
        a, b, c = draw.uniform(0.004, 0.04, 3)
        t = 0.35 * min(a, b)
        shape = Prism(((0, 0), (a, 0), (a, t), (t, t), (t, b), (0, b)), c)
        moving = (*draw.uniform(-0.3, 0.3, 2).tolist(), -1.5), thrown(draw, 10)
        rows.append((f"part {k}", shape, (0, 0, 0.06 + 0.12 * k), turned(draw), *moving))
    return rows


LATER_KINDS = {"compounds": compounds, "angles": angles}
"""Those of the seeds from 400 on."""

KINDS = {
    "small parts": small_parts,
    "plates": plates,
    "touching row": touching_row,
    "stack": stack,
}


def turned(draw):
    return rotations.normalise(draw.normal(size=4))


def thrown(draw, most):
    return tuple(draw.uniform(-most, most, 3).tolist())


def judged(seed):
    """Kind, run, processor time [s] of a seed."""
    kind, system = scene(seed)
    began = time.process_time()
    run = release(system, estimates=False, magnetisation=False)
    return kind, run, time.process_time() - began


def main(first, last):
    trusted = 0
    for seed in range(first, last):
        kind, run, cost = judged(seed)
        audit = run.audit
        trusted += run.outcome != "untrusted"
        print(
            f"{seed:4d} {kind:13s} {run.outcome:10s} {run.ending.reason:12s}"
            f" {audit.unaccounted_fraction:9.1e} {audit.deepest_overlap:9.1e} {cost:6.2f}",
            flush=True,
        )
    print(f"{trusted} of {last - first} trusted")


if __name__ == "__main__":
    main(*map(int, sys.argv[1:3]))
