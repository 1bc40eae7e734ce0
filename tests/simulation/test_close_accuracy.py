"""Error bars of parts close together cover the truth, over a family drawn by seed.

The truth: tests/references/finite_element_pairs.json, made by the script of that name with
axisymmetric finite elements, which share no code and no method with snapsim. Its own error, taken
as a third of the difference of its two meshes (0.1 % in the median, 0.8 % at 95 %), is allowed on
top. The constants of `close_soft_parts` were chosen on seeds 0 to 47. On 48 to 99 they missed 5 of
104 forces (95 %), which gave two more terms (pulls that cancel in the net one, |F_f - F_c| for
equal faces too); on 100 to 140, drawn later, 3 of 82 (96 %, draft cells; the worst, seed 108, is
off by 14 N of 31 +- 10), and `HIDDEN` serves all flat faces since. What flat faces of cells without
charges on inner faces have (`LEFT`, `RIMS`) was chosen on all of these and of
finite_element_stacks.json to 179, at draft (369 of 372 forces); of seeds drawn and solved after
that, 200 to 226 here and 257 to 325 there, 129 of 130 were covered, at normal 50 of the first 50.
Other cells, other seeds, each case on a line:

    python tests/simulation/test_close_accuracy.py normal 0 100
"""

import json
import sys
from pathlib import Path

import numpy as np
import pytest

from snapsim.landscape.force import ForceReport, force
from snapsim.numerics import rotations
from snapsim.parts.bodies import Body
from snapsim.parts.materials import MagnetisationCurve, Material
from snapsim.parts.shapes import Box, Cylinder, Ring, Sphere
from snapsim.parts.states import Pose, State
from snapsim.parts.surfaces import SurfacePair, SurfaceRules
from snapsim.simulation.system import System

RECORD = Path(__file__).parents[1] / "references" / "finite_element_pairs.json"


def arranged(magnet, polarisation, height, parts, curve, detail):
    """A fixed magnet along +z, its centre `height` up, and parts (shape, place, turn)."""
    grade = Material("test magnet", 7500.0, remanence=polarisation)
    iron = Material("test iron", 7200.0, curve)
    bodies = [Body("magnet", magnet, grade, np.array([0.0, 0.0, 1.0]), True)]
    bodies += [Body(f"part{k}", p[0], iron, None, False) for k, p in enumerate(parts, start=1)]
    places = np.array([(0.0, 0.0, height), *(p[1] for p in parts)])
    turns = np.array([rotations.IDENTITY, *(p[2] for p in parts)])
    still = np.zeros_like(places)
    start = State(Pose(places, turns), still, still)
    rules = SurfaceRules(SurfacePair())
    return System("test", "", tuple(bodies), start, rules, np.zeros(3), 1.0, detail)


def drawn(case, detail):
    magnet, top, parts = case["magnet"], -case["distance"], []
    for p in case["parts"]:
        inner, outer, length = p["inner_radius"], p["outer_radius"], p["length"]
        shape = Ring(2 * outer, 2 * inner, length) if inner else Cylinder(2 * outer, length)
        parts.append((shape, (0.0, 0.0, top - length / 2), rotations.IDENTITY))
        top -= length + case["gap"]
    return arranged(
        Cylinder(2 * magnet["radius"], magnet["length"]), magnet["polarisation"],
        magnet["length"] / 2, parts,
        MagnetisationCurve(case["susceptibility"], case["saturation"]), detail,
    )  # fmt: skip


def compared(case, detail):
    """Per part: true axial force, error of the limit less the reference's own, bar, warned."""
    report: ForceReport = force(drawn(case, detail), accuracy=True)
    own = np.abs(np.subtract(case["coarse"], case["force"])) / 3
    found, bar = report.accuracy.force.value[1:, 2], report.accuracy.force.error[1:]
    error = np.maximum(np.abs(found - case["force"]) - own, 0)
    return [(case["force"][k], error[k], bar[k], len(report.close)) for k in range(2)]


def cases(first, last):
    every = json.loads(RECORD.read_text())["cases"]
    return [case for case in every if first <= case["seed"] < last]


@pytest.mark.parametrize(
    ("first", "last", "misses"),
    [
        (48, 56, 1),
        pytest.param(56, 66, 1, marks=pytest.mark.slow),
        pytest.param(56, 100, 4, marks=[pytest.mark.slow, pytest.mark.longer]),
    ],
)
def test_bars_cover_parts_close_together(first, last, misses):
    """At least 95 % of the forces on 52 arrangements, draft cells (16 and 88 forces: at most 1 and
    4 outside; of the 20 that the suite takes of the latter at most 1). The bars are no blanket: in
    the median below two fifths of the larger force, of equal parts below 3 %."""
    rows = [(case, row) for case in cases(first, last) for row in compared(case, "draft")]
    outside = [(case["seed"], row) for case, row in rows if row[1] > row[2]]
    assert len(outside) <= misses, outside
    shares = [row[2] / max(np.abs(case["force"])) for case, row in rows]
    assert np.median(shares) < 0.4
    equal = [share for (case, _), share in zip(rows, shares, strict=True) if _equal(case)]
    assert np.median(equal) < 0.03


def _equal(case):
    one, other = case["parts"]
    return one == other


LYING = rotations.from_axis_angle([0, 1, 0], np.pi / 2)
ACROSS = rotations.from_axis_angle([1, 0, 0], np.pi / 2)
RING, ROD, BALL = Ring(0.11, 0.026, 0.018), Cylinder(0.02, 0.08), Sphere(0.03)
WIDE, BLOCK = Cylinder(0.2, 0.05), Box((0.2, 0.2, 0.05))


@pytest.mark.parametrize("detail", ["draft", pytest.param("normal", marks=pytest.mark.slow)])
@pytest.mark.parametrize(
    ("magnet", "one", "other", "apart", "turns", "true"),
    [
        (WIDE, (RING, -0.029), RING, 0.0181, None, -28.2),
        (WIDE, (RING, -0.029), RING, 0.0183, None, -11.033),
        (BLOCK, (ROD, -0.030), ROD, 0.0203, (LYING, ACROSS), -82.072),
    ],
    ids=["rings 0.1 mm", "rings 0.3 mm", "crossed rods 0.3 mm"],
)
def test_bars_cover_what_two_meshes_do_not_see(magnet, one, other, apart, turns, true, detail):
    """Force on the upper of two parts, chi = 400, 1.6 T, under a magnet of 1.34 T. Rings: finite
    elements of order 5; rods: cells of 0.25 mm with exact tensors. Two meshes alone said
    -46.7 +- 0.43 of the first at normal. A gap like these is named."""
    first, second = turns or (rotations.IDENTITY, rotations.IDENTITY)
    parts = [
        (one[0], (0.0, 0.0, one[1]), first),
        (other, (0.0, 0.0, one[1] - apart), second),
    ]
    curve = MagnetisationCurve(400.0, 1.6)
    report = force(arranged(magnet, 1.34, 0.025, parts, curve, detail), accuracy=True)
    assert abs(report.accuracy.force.value[1, 2] - true) < report.accuracy.force.error[1]
    assert len(report.close) == 1


def test_a_gap_is_told_with_size_and_sign():
    """Equal flat faces: either way; a point: too small; nothing where the force hardly depends."""
    curve = MagnetisationCurve(400.0, 1.6)
    still = rotations.IDENTITY
    rings = [(RING, (0.0, 0.0, -0.029), still), (RING, (0.0, 0.0, -0.0473), still)]
    (flat,) = force(arranged(WIDE, 1.34, 0.025, rings, curve, "draft")).close
    assert flat.flat
    assert flat.alike
    assert "off" in str(flat)
    assert "too" not in str(flat)
    assert f"({flat.pull:.3g} N here)" in str(flat)
    balls = [(BALL, (0.0, 0.0, -0.15), still), (BALL, (0.0, 0.0, -0.1803), still)]
    (point,) = force(arranged(WIDE, 1.34, 0.025, balls, curve, "draft")).close
    assert not point.flat
    assert "too small" in str(point)
    apart = [(BALL, (0.0, 0.0, -0.15), still), (BALL, (0.0, 0.0, -0.2), still)]
    assert force(arranged(WIDE, 1.34, 0.025, apart, curve, "draft")).close == ()


def main(detail, first, last):
    told = []
    for case in cases(first, last):
        for k, (true, error, bar, warned) in enumerate(compared(case, detail)):
            told.append((error <= bar, bar / max(error, 1e-9)))
            gap, chi = 1e3 * case["gap"], case["susceptibility"]
            verdict = ("warned " if warned else "") + ("" if error <= bar else "OUTSIDE")
            print(
                f"{case['seed']:3d} part {k + 1} gap {gap:5.2f} mm chi {chi:5.0f}"
                f" {true:9.3f} N off {error:8.3f} bar {bar:8.3f} {verdict}",
                flush=True,
            )
    covered, ratio = np.mean([t[0] for t in told]), np.median([t[1] for t in told])
    print(f"covered {covered:.1%}, bar over error {ratio:.1f} in the median")


if __name__ == "__main__":
    main(sys.argv[1], int(sys.argv[2]), int(sys.argv[3]))
