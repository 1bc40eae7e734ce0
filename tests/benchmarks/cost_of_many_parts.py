"""What a step costs with 1, 2, 5 and 10 iron parts under one magnet.

Run it as a script: python tests/benchmarks/cost_of_many_parts.py [seconds simulated]. Invented
parts on an invented table; the last column is processor time, so other work hardly shows in it.
"""

import sys
import time

import numpy as np

from snapsim.magnetics.cells import mesh
from snapsim.numerics import rotations
from snapsim.parts.bodies import Body
from snapsim.parts.materials import MagnetisationCurve, Material
from snapsim.parts.shapes import Box, Cylinder, HexNut, Ring
from snapsim.parts.states import Pose, State
from snapsim.parts.surfaces import SurfacePair, SurfaceRules
from snapsim.run.release import release
from snapsim.simulation.system import System

IRON = Material("test iron", 7800.0, MagnetisationCurve(300.0, 1.8))
MAGNET = Material("test magnet", 7500.0, remanence=1.2)
OAK = Material("test oak", 700.0)
SHAPES = (
    Box((0.02, 0.02, 0.008)),
    Cylinder(0.016, 0.01),
    Ring(0.022, 0.01, 0.006),
    HexNut(0.019, 0.01, 0.008),
)
CELLS = 60


def parts_under_a_magnet(count, duration=0.1):
    """Return the system of `count` parts in two rows on a table, 60 mm under a block magnet."""
    bodies = [
        Body("table", Box((0.4, 0.4, 0.04)), OAK, None, True),
        Body("magnet", Box((0.08, 0.06, 0.03)), MAGNET, np.array([0, 0, -1.0]), True),
    ]
    places = [(0, 0, -0.02), (0, 0, 0.075)]
    for k in range(count):
        shape = SHAPES[k % len(SHAPES)]
        bodies.append(Body(f"part {k + 1}", shape, IRON, None, False))
        row, column = divmod(k, 5)
        x, y = 0.028 * (column - 2) + 0.006 * row, 0.03 * row - 0.012
        places.append((x, y, shape.extents[2] + 1e-7))
    n = len(bodies)
    turns = np.array([rotations.IDENTITY] * n)
    start = State(Pose(np.array(places, dtype=float), turns), np.zeros((n, 3)), np.zeros((n, 3)))
    return System(
        f"{count} parts",
        "",
        tuple(bodies),
        start,
        SurfaceRules(SurfacePair(0.2, 0.35)),
        np.array([0.0, 0.0, -9.80665]),
        duration,
        "draft",
    )


def run(count, duration=0.1):
    """Release them, with coarse cells; return the trajectory and the processor time [s]."""
    system = parts_under_a_magnet(count, duration)
    meshes = {i: mesh(b.shape, CELLS) for i, b in enumerate(system.bodies) if b.is_soft}
    began = time.process_time()
    trajectory = release(system, meshes=meshes)
    return trajectory, time.process_time() - began


def main():
    """Print the table."""
    duration = float(sys.argv[1]) if len(sys.argv) > 1 else 0.1
    run(2, 0.005)  # compiles
    print("parts  outcome  simulated s  evaluations  steps  ms/evaluation  ms/step  unaccounted")
    for count in (1, 2, 5, 10):
        found, spent = run(count, duration)
        cost, share = found.cost, found.audit.unaccounted_fraction
        print(
            f"{count:5d}  {found.outcome:7s}  {found.time[-1]:11.4f}  {cost.field_evaluations:11d}"
            f"  {cost.steps:5d}  {1e3 * spent / max(cost.field_evaluations, 1):13.2f}"
            f"  {1e3 * spent / max(cost.steps, 1):7.2f}  {share:11.1e}"
        )


if __name__ == "__main__":
    main()
