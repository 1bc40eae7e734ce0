"""Error bars of a part alone near a pole cover the truth, over a family drawn by seed.

The truth: tests/references/finite_element_stacks.json, made by the script of that name with
axisymmetric finite elements, which share no code and no method with snapsim; its own error, taken
as the whole difference of its two meshes (0.05 % in the median), is allowed on top. Constants
of `refinement` were chosen on seeds 0 to 57; 58 to 179, held out, then had 2 of 69 single parts
outside at draft and 2 of 30 at normal, all across the rim of a magnet a few cells wide, which gave
`magnet_rims.MISSED`. Seeds from `HELD_OUT` on were drawn and solved after that, those from `FRESH`
on when parts alone had got cells without charges on inner faces: untouched, 24 of 24 single forces
and 48 of 48 on two and three parts were covered at draft. The suite takes some of these only,
`pytest --longer` all. Off centre and tilted: see `test_bars_off_centre.py`. Other cells, each case
on a line:

    python tests/simulation/test_bars_near_a_pole.py normal 180 220
"""

import json
import sys
from pathlib import Path

import numpy as np
import pytest

from snapsim.numerics import rotations
from snapsim.parts.bodies import Body
from snapsim.parts.materials import MagnetisationCurve, Material
from snapsim.parts.shapes import Cylinder, Ring
from snapsim.parts.states import Pose, State
from snapsim.parts.surfaces import SurfacePair, SurfaceRules
from snapsim.simulation.pose_accuracy import PoseAccuracy
from snapsim.simulation.system import System

RECORD = Path(__file__).parents[1] / "references" / "finite_element_stacks.json"
FRESH, HELD_OUT, SEEN = 204, 180, 58


def drawn(case, detail):
    """The magnet along +z on z = 0, the parts below it."""
    magnet, top = case["magnet"], 0.0
    grade = Material("test magnet", 7500.0, remanence=magnet["polarisation"])
    curve = MagnetisationCurve(case["susceptibility"], case["saturation"])
    iron = Material("test iron", 7200.0, curve)
    pole = Cylinder(2 * magnet["radius"], magnet["length"])
    bodies = [Body("magnet", pole, grade, np.array([0.0, 0.0, 1.0]), True)]
    places = [(0.0, 0.0, magnet["length"] / 2)]
    for k, (part, gap) in enumerate(zip(case["parts"], case["gaps"], strict=True)):
        inner, outer, length = part["inner_radius"], part["outer_radius"], part["length"]
        shape = Ring(2 * outer, 2 * inner, length) if inner else Cylinder(2 * outer, length)
        bodies.append(Body(f"part{k}", shape, iron, None, False))
        places.append((0.0, 0.0, top - gap - length / 2))
        top -= gap + length
    still = np.zeros((len(places), 3))
    pose = Pose(np.array(places), np.tile(rotations.IDENTITY, (len(places), 1)))
    rules = SurfaceRules(SurfacePair())
    start = State(pose, still, still)
    return System("test", "", tuple(bodies), start, rules, np.zeros(3), 1.0, detail)


def compared(case, detail):
    """Per part: true axial force, found, error of the limit less the reference's own, bar."""
    system = drawn(case, detail)
    estimate = PoseAccuracy(system).at(system.start.pose)
    true = np.array(case["force"])
    own = np.abs(np.array(case["coarse"]) - true)
    value, bar = estimate.force.value[1:, 2], estimate.force.error[1:]
    error = np.maximum(np.abs(value - true) - own, 0.0)
    return list(zip(true, estimate.fine.force[1:, 2], error, bar, strict=True))


def cases(first, last, parts=None):
    every = json.loads(RECORD.read_text())["cases"]
    chosen = [case for case in every if first <= case["seed"] < last]
    return [case for case in chosen if parts is None or len(case["parts"]) in parts]


@pytest.mark.parametrize(
    ("detail", "first", "last", "wide"),
    [
        ("draft", FRESH, 230, 0.1),
        pytest.param("draft", SEEN, FRESH, 0.1, marks=pytest.mark.longer),
        pytest.param("draft", 230, 250, 0.1, marks=pytest.mark.slow),
        pytest.param("normal", FRESH, 218, 0.03, marks=pytest.mark.slow),
        pytest.param("fine", HELD_OUT, 185, 0.015, marks=pytest.mark.slow),
        pytest.param("normal", SEEN, 250, 0.03, marks=pytest.mark.longer),
        pytest.param("fine", HELD_OUT, 220, 0.015, marks=pytest.mark.longer),
    ],
)
def test_bars_cover_a_part_alone(detail, first, last, wide):
    """At least 95 % of the held-out forces; the bar is a few per cent in the median; what is found
    is too low, but for a few per mille (the reference's own error)."""
    rows = [
        (case["seed"], *row)
        for case in cases(first, last, parts=(1,))
        for row in compared(case, detail)
    ]
    outside = [row for row in rows if row[3] > row[4]]
    assert len(outside) <= 0.05 * len(rows), outside
    assert np.median([bar / abs(true) for _, true, _, _, bar in rows]) < wide
    # low, but for parts under the edge of a magnet few cells wide, whose bars say so
    high = [row for row in rows if row[2] > row[1] * 1.004]
    assert all(bar > 0.05 * true for _, true, _, _, bar in high), high


@pytest.mark.parametrize(
    ("first", "last"),
    [(FRESH, 220), pytest.param(SEEN, 250, marks=pytest.mark.longer)],
    ids=["few", "all"],
)
def test_bars_cover_two_and_three_parts(first, last):
    """At least 95 % of the held-out forces, draft cells."""
    rows = [
        (case["seed"], *row)
        for case in cases(first, last, parts=(2, 3))
        for row in compared(case, "draft")
    ]
    outside = [row for row in rows if row[3] > row[4]]
    assert len(outside) <= 0.05 * len(rows) + 0.5, outside


def main(detail, first, last):
    told = []
    for case in cases(first, last):
        for k, (true, found, error, bar) in enumerate(compared(case, detail)):
            inside = error <= bar
            told.append((len(case["parts"]) == 1, inside, bar / max(error, 1e-9)))
            print(
                f"{case['seed']:3d} part {k + 1} of {len(case['parts'])}: {true:9.3f} N,"
                f" found {found:9.3f}, off {error:8.3f} bar {bar:8.3f} {'' if inside else 'OUT'}",
                flush=True,
            )
    for alone in (True, False):
        rows = [t for t in told if t[0] == alone]
        if rows:
            covered, ratio = np.mean([t[1] for t in rows]), np.median([t[2] for t in rows])
            print(f"{'alone' if alone else 'several'}: {covered:.1%} of {len(rows)}, {ratio:.1f}")


if __name__ == "__main__":
    main(sys.argv[1], int(sys.argv[2]), int(sys.argv[3]))
