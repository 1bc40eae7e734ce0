"""Error bars of parts tilted and off centre near a magnet, one to three, of every simple shape.

The truth: tests/references/finite_element_solids.json, made by the script of that name with finite
elements in three dimensions, which share no code and no method with snapsim; its own error, 0.6 %
of the force, is allowed on top. It is more for a slender unsaturated rod near a pole: of seed 41
200.4 N are given here, 196.6 N is what axisymmetric elements find on the axis, and draft cells too
(196.6 +- 2.6). No constant was chosen by seeds 0 to 11 and 39 to 47, of which the latter had that
force alone of 13 outside, and none of 13 torques. Bars at normal are narrower than that, so these
references do not judge them: of eight lone parts their forces lie 0.3 to 1.3 % from the limit that
normal cells state (seed 2: 85.45 N here, 85.03 N with 9 cells along it, 84.4 N at normal), draft
cells' 0.05 to 0.4 % from it. Other cells:

    python tests/simulation/test_bars_off_centre.py normal 0 40
"""

import json
import sys
from pathlib import Path

import numpy as np
import pytest

from snapsim.parts.bodies import Body
from snapsim.parts.materials import MagnetisationCurve, Material
from snapsim.parts.shapes import Box, Cylinder, HexNut, Ring, Sphere
from snapsim.parts.states import Pose, State
from snapsim.parts.surfaces import SurfacePair, SurfaceRules
from snapsim.simulation.pose_accuracy import PoseAccuracy
from snapsim.simulation.system import System

RECORD = Path(__file__).parents[1] / "references" / "finite_element_solids.json"
OWN = 0.006
OWN_TORQUE = 1e-4
"""N m a newton: the references give balls up to 5e-5, where symmetry allows none."""
KINDS = {"box": Box, "cylinder": Cylinder, "hex_nut": HexNut, "ring": Ring, "sphere": Sphere}


def shape(given):
    sizes = {k: tuple(v) if isinstance(v, list) else v for k, v in given.items() if k != "kind"}
    return KINDS[given["kind"]](**sizes)


def drawn(case, detail):
    iron = Material(
        "test iron", 7200.0, MagnetisationCurve(case["susceptibility"], case["saturation"])
    )
    (m,) = case["magnets"]
    grade = Material("test magnet", 7500.0, remanence=m["polarisation"])
    bodies = [Body("magnet", shape(m["shape"]), grade, np.array([0.0, 0.0, 1.0]), True)]
    bodies += [
        Body(f"part{k}", shape(p["shape"]), iron, None, False) for k, p in enumerate(case["parts"])
    ]
    places = np.array([m["position"], *(p["position"] for p in case["parts"])], dtype=float)
    turns = np.array([[1.0, 0, 0, 0], *(p["quaternion"] for p in case["parts"])])
    still = np.zeros_like(places)
    start = State(Pose(places, turns), still, still)
    rules = SurfaceRules(SurfacePair())
    return System("test", "", tuple(bodies), start, rules, np.zeros(3), 1.0, detail)


def compared(case, detail):
    """Per part: true force's size, error of the limit less the reference's own, bar; the last two
    of its torque too."""
    system = drawn(case, detail)
    estimate = PoseAccuracy(system).at(system.start.pose)
    true, twist = np.array(case["force"]), np.array(case["torque"])
    size = np.linalg.norm(true, axis=1)
    error = np.linalg.norm(estimate.force.value[1:] - true, axis=1) - OWN * size
    torque = np.linalg.norm(estimate.torque.value[1:] - twist, axis=1)
    torque -= OWN * np.linalg.norm(twist, axis=1) + OWN_TORQUE * size
    bars = estimate.force.error[1:], estimate.torque.error[1:]
    return list(
        zip(size, np.maximum(error, 0), bars[0], np.maximum(torque, 0), bars[1], strict=True)
    )


def cases(first, last):
    every = json.loads(RECORD.read_text())["cases"]
    return [case for case in every if first <= case["seed"] < last]


@pytest.mark.parametrize(
    ("detail", "first", "last"),
    [
        ("draft", 0, 12),
        pytest.param("draft", 12, 48, marks=pytest.mark.slow),
    ],
)
def test_bars_cover_tilted_parts_off_centre(detail, first, last):
    rows = [(case["seed"], *row) for case in cases(first, last) for row in compared(case, detail)]
    outside = [row for row in rows if row[2] > row[3]]
    assert len(outside) <= 0.05 * len(rows), outside
    turned = [row for row in rows if row[4] > row[5]]
    assert len(turned) <= 0.05 * len(rows), turned


def main(detail, first, last):
    told = []
    for case in cases(first, last):
        for k, (true, error, bar, *_) in enumerate(compared(case, detail)):
            told.append(error <= bar)
            kind = case["parts"][k]["shape"]["kind"]
            print(
                f"{case['seed']:3d} {kind:8s} {true:9.3f} N off {error:8.3f} bar {bar:8.3f}"
                f" {'' if told[-1] else 'OUTSIDE'}",
                flush=True,
            )
    print(f"covered {np.mean(told):.1%} of {len(told)}")


if __name__ == "__main__":
    main(sys.argv[1], int(sys.argv[2]), int(sys.argv[3]))
