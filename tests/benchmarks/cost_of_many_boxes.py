"""What a motion without magnets costs with 1 to 40 boxes that fall onto a floor, and the exponent.

Run it as a script: python tests/benchmarks/cost_of_many_boxes.py [--apart | --stack] [counts ...].
Boxes of 40 x 30 x 20 mm let go a little above each other and a little aside: in columns of three
(usual), each on its own, or all in one stack. Processor time, warm; 0.3 s simulated.
"""

import sys
import time

import numpy as np

from snapsim.numerics import rotations
from snapsim.parts.bodies import Body
from snapsim.parts.materials import Material
from snapsim.parts.shapes import Box
from snapsim.parts.states import Pose, State
from snapsim.parts.surfaces import SurfacePair, SurfaceRules
from snapsim.run.release import release
from snapsim.simulation.system import System

OAK = Material("test oak", 700.0)
ALUMINIUM = Material("test aluminium", 2700.0, youngs_modulus=70e9, poissons_ratio=0.33)
SIZE = np.array([0.04, 0.03, 0.02])
COUNTS = (1, 2, 4, 7, 12, 20, 40)
COLUMN = 3


def falling_boxes(count, column=COLUMN, duration=0.3):
    """Return the system of `count` boxes in columns of `column`, 4 mm between them."""
    bodies = [Body("floor", Box((2.0, 2.0, 0.04)), OAK, None, True)]
    places, draw = [(0.0, 0.0, -0.02)], np.random.default_rng(1)
    for k in range(count):
        at, high = divmod(k, column)
        row, place = divmod(at, 5)
        aside = draw.uniform(-1e-3, 1e-3, 2)
        places.append((0.08 * place + aside[0], 0.08 * row + aside[1], 0.012 + 0.024 * high))
        bodies.append(Body(f"box {k + 1}", Box(tuple(SIZE)), ALUMINIUM, None, False))
    n = len(bodies)
    turns = np.array([rotations.IDENTITY] * n)
    start = State(Pose(np.array(places), turns), np.zeros((n, 3)), np.zeros((n, 3)))
    rules = SurfaceRules(SurfacePair(0.4, 0.3))
    gravity = np.array([0.0, 0.0, -9.80665])
    return System(f"{count} boxes", "", tuple(bodies), start, rules, gravity, duration, "normal")


def run(count, column=COLUMN):
    """Release them; return the trajectory and the processor time [s]."""
    system, began = falling_boxes(count, column), time.process_time()
    found = release(system)
    return found, time.process_time() - began


def exponent(counts, spent):
    """Return p of cost = c N^p, by least squares on the logarithms; nan for fewer than two."""
    if len(counts) < 2:
        return float("nan")
    return float(np.polyfit(np.log(counts), np.log(spent), 1)[0])


def main(arguments):
    """Print the table and the exponent."""
    counts = [int(a) for a in arguments if not a.startswith("--")] or list(COUNTS)
    column = 1 if "--apart" in arguments else 1000 if "--stack" in arguments else COLUMN
    run(min(3, max(counts)), column)  # loads what is compiled
    print("boxes  outcome    CPU s  s/box  blows  steps  simulated s  unaccounted", flush=True)
    times = []
    for count in counts:
        found, spent = run(count, column)
        times.append(spent)
        share = found.audit.unaccounted_fraction
        print(
            f"{count:5d}  {found.outcome:9s} {spent:6.2f} {spent / count:6.3f}"
            f"  {len(found.impacts):5d}  {found.cost.steps:5d}  {found.time[-1]:11.3f}"
            f"  {share:11.1e}",
            flush=True,
        )
    print(f"cost goes with the number of boxes to the power {exponent(counts, times):.2f}")


if __name__ == "__main__":
    main(sys.argv[1:])
