"""Do the bars of a first blow hold? The same release on finer cells, drawn by seed.

    python tests/run/blow_bar_family.py DETAIL FINER FIRST LAST

One iron part let go 2 to 30 mm below a magnet's pole and pulled up: discs, rings, bars, nuts and
balls, on the axis or off it, straight or tilted, saturating or not. The truth is the limit that
FINER states, its own bar allowed on top.
"""

import sys
from dataclasses import replace

import numpy as np

from snapsim.mechanics.ending import EndReason
from snapsim.numerics import rotations
from snapsim.parts.bodies import Body
from snapsim.parts.materials import MagnetisationCurve, Material
from snapsim.parts.shapes import Box, Cylinder, HexNut, Ring, Sphere
from snapsim.parts.states import Pose, State
from snapsim.parts.surfaces import SurfacePair, SurfaceRules
from snapsim.run.release import release
from snapsim.simulation.system import System

GRAVITY = np.array([0.0, 0.0, -9.80665])
SHAPES = (
    lambda a: Box((a, 0.8 * a, 0.5 * a)),
    lambda a: Box((a, a, 0.2 * a)),
    lambda a: Cylinder(a, 0.5 * a),
    lambda a: Cylinder(0.5 * a, 1.2 * a),
    lambda a: Ring(a, 0.24 * a, 0.17 * a),
    lambda a: HexNut(a, 0.55 * a, 0.45 * a),
    Sphere,
)
QUANTITIES = ("speed", "m_s"), ("kinetic_energy", "J"), ("effective_energy", "J")


def drawn(seed, detail):
    """A part below a pole, at rest; metres."""
    g = np.random.default_rng([seed, 41])
    wide = g.uniform(0.05, 0.18)
    pole = Cylinder(wide, 0.04) if g.random() < 0.5 else Box((wide, 0.8 * wide, 0.04))
    shape = SHAPES[g.integers(len(SHAPES))](g.uniform(0.015, 0.06))
    tilt = rotations.from_axis_angle(g.normal(size=3), g.uniform(0, np.pi / 2))
    turn = tilt if g.random() < 0.6 else rotations.IDENTITY
    off = g.uniform(0, 0.4) * wide if g.random() < 0.6 else 0.0
    gap = np.exp(g.uniform(np.log(0.002), np.log(0.03)))
    reach = np.linalg.norm(shape.extents) if turn is tilt else shape.extents[2]
    curve = MagnetisationCurve(np.exp(g.uniform(np.log(30), np.log(5000))), g.choice([1.2, 2.0]))
    grade = Material("test magnet", 7500.0, remanence=g.uniform(1.0, 1.4))
    bodies = (
        Body("magnet", pole, grade, np.array([0.0, 0.0, 1.0]), True),
        Body("part", shape, Material("test iron", 7800.0, curve), None, False),
    )
    place = np.array([[0, 0, 0.02], [off, 0.3 * off, -gap - reach]])
    still = np.zeros((2, 3))
    start = State(Pose(place, np.array([rotations.IDENTITY, turn])), still, still)
    rules = SurfaceRules(SurfacePair(0.3, 0.3))
    return System("drawn", "", bodies, start, rules, GRAVITY, 0.3, detail)


def _first(impact):
    return EndReason.FIRST_BLOW


def compared(seed, detail, finer):
    """(quantity, stated, bar, finer limit less stated beyond the finer one's own bar) of a blow;
    none where nothing is struck."""
    system = drawn(seed, detail)
    run = release(system, frames=False, until=_first)
    if not run.impacts or "first_impact_speed_m_s" not in run.accuracy:
        return []
    truth = release(replace(system, detail=finer), frames=False, until=_first)
    if not truth.impacts:
        return []
    found = []
    for name, unit in QUANTITIES:
        value, bar, true, own = (
            float(accuracy[f"first_impact_{name}{part}_{unit}"])
            for accuracy in (run.accuracy, truth.accuracy)
            for part in ("", "_error")
        )
        found.append((name, value, bar, max(abs(true - value) - own, 0.0)))
    return found


def main():
    detail, finer, first, last = sys.argv[1], sys.argv[2], int(sys.argv[3]), int(sys.argv[4])
    told = []
    for seed in range(first, last):
        for name, value, bar, error in compared(seed, detail, finer):
            told.append((error <= bar, bar / max(error, 1e-9)))
            verdict = "" if told[-1][0] else "OUTSIDE"
            print(
                f"{seed:3d} {name:16s} {value:8.4g} bar {bar:8.3g} off {error:8.3g} {verdict}",
                flush=True,
            )
    covered, ratio = np.mean([t[0] for t in told]), np.median([t[1] for t in told])
    print(f"covered {covered:.1%} of {len(told)}, bar over error {ratio:.1f} in the median")


if __name__ == "__main__":
    main()
