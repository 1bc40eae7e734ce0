"""The point of no return, against one-dimensional energies and against releases."""

from pathlib import Path

import numpy as np
import pytest

import snapsim
from snapsim.analysis.margins import margin_summary
from snapsim.errors import InputError
from snapsim.parts.shapes import Box
from snapsim.simulation.landscape.energy import EnergyLandscape
from snapsim.simulation.landscape.margin import margin

SCENES = Path(__file__).parents[3] / "scenarios"


@pytest.fixture(scope="module")
def gear_blank():
    """The blank propped at 38 deg, draft cells."""
    scene = snapsim.load_scene(SCENES / "gear-blank-falls-back.toml", ["run.detail=draft"])
    return margin(scene)


def tilt_up(report):
    return next(t for t in report.thresholds if t.kind == "tilt" and t.beyond is not None)


def test_blank_stays_at_38_degrees_and_goes_by_itself_before_50(gear_blank):
    """What the two scenes of the blank do when released (`scenarios`)."""
    assert gear_blank.fate == "stays"
    assert 0 < np.degrees(tilt_up(gear_blank).beyond.value) < 12


def test_hand_torque_passes_zero_where_the_part_goes_by_itself(gear_blank):
    """Two ways to the same angle: letting go, and the torque of the energy about the rim."""
    tilt = tilt_up(gear_blank)
    assert tilt.balance.fine == pytest.approx(tilt.beyond.fine, abs=np.radians(0.2))


def test_pass_is_a_rest_above_the_lying_blank_and_below_the_tilt(gear_blank):
    """The lowest way can cost no more than the way by tilting, whose top is where its torque is
    zero; 0.1 % for the coarse cells' own pass on fine ones."""
    barrier = gear_blank.barrier
    scene = gear_blank.system
    landscape = EnergyLandscape(scene, 1)
    tilt = tilt_up(gear_blank)
    top = landscape.at(tilt.place).energy - landscape.at(barrier.rest).energy
    assert 0 < barrier.energy.fine < 1.01 * top
    assert barrier.nudge == pytest.approx(
        np.sqrt(2 * barrier.energy.value / scene.bodies[1].mass), rel=1e-12
    )


def test_summary_gives_ways_barrier_and_cautions(gear_blank):
    result = margin_summary(gear_blank)
    assert {w["kind"] for w in result["ways"]} == {"lift", "push", "tilt"}
    assert result["barrier"]["energy_J"] > 0
    assert len(result["cautions"]) == 3


@pytest.mark.parametrize(
    ("name", "said"),
    [("gear", "no body"), ("magnet", "is fixed"), ("table", "is fixed")],
)
def test_a_body_that_cannot_be_asked_about_is_refused_by_name(name, said):
    scene = snapsim.load_scene(SCENES / "gear-blank.toml")
    for command in (snapsim.margin, snapsim.poses):
        with pytest.raises(InputError, match=said):
            command(scene, name)


def test_a_scene_without_a_magnet_is_refused(make_system, make_body, materials):
    part = make_body("part", Box((0.1, 0.1, 0.1)), materials["iron"](100.0))
    with pytest.raises(InputError, match="no magnet"):
        snapsim.margin(make_system([(part, (0, 0, 0))]))
