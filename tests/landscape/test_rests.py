"""Where the gear blank rests under two magnets: common practice, no source."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

import snapsim
from snapsim.analysis.rests import rests_summary
from snapsim.landscape.constraints import Constraints
from snapsim.landscape.descent import settle
from snapsim.landscape.energy import EnergyLandscape
from snapsim.landscape.friction_hold import friction_hold
from snapsim.landscape.lie import Attitude
from snapsim.landscape.place import Place
from snapsim.landscape.rests import descent_settings, poses
from snapsim.landscape.stability import stability
from snapsim.numerics import rotations
from snapsim.parts.states import Pose, State

SCENES = Path(__file__).parents[2] / "scenarios"
WIDE = ["body.magnet.shape.size=200 x 200 x 50 mm", "body.magnet.position=0, 0, 25 mm"]


@pytest.fixture(scope="module")
def wide():
    """Descends from a place just under the wide pole, turned by an angle [deg]; and judges."""
    scene = snapsim.load_scene(SCENES / "gear-blank.toml", WIDE)
    landscape, constraints = EnergyLandscape(scene, 1, "draft"), Constraints(scene, 1)
    settings = descent_settings(landscape, constraints)

    def rest(x, y, angle):
        turn = rotations.from_axis_angle([0, 1, 0], np.radians(angle))
        place = Place(np.array([x, y, -0.057 if angle else -0.0091]), turn)
        found = settle(landscape, constraints, place, settings)
        assert found.outcome == "rest"
        return found, stability(landscape, constraints, found)

    return rest


def tilt(rest):
    return np.degrees(np.arccos(abs(rotations.matrix(rest.place.quaternion)[2, 2])))


def test_blank_rests_on_edge_under_the_middle_of_a_wide_magnet(wide):
    """Common practice, no source. Near the middle: well inside half of the half width."""
    found, judged = wide(0.03, 0.02, 88.0)
    assert judged.verdict == "stable"
    assert tilt(found) == pytest.approx(90.0, abs=0.1)
    assert np.hypot(*found.place.position[:2]) < 0.06


def test_blank_flat_under_the_middle_of_a_wide_magnet_leaves_sideways(wide):
    """Common practice, no source: it rests flat only near the rim."""
    found, judged = wide(0.0, 0.0, 0.0)
    assert tilt(found) == pytest.approx(0.0, abs=0.1)
    assert judged.verdict == "saddle"
    assert all(mode.words.startswith("slides") for mode in judged.unstable)


def test_blank_flat_is_stable_near_the_rim_of_a_wide_magnet(wide):
    """Common practice, no source. Its rim then reaches past the pole's."""
    found, judged = wide(0.06, 0.05, 0.0)
    assert judged.verdict == "stable"
    assert tilt(found) == pytest.approx(0.0, abs=0.1)
    assert np.abs(found.place.position[:2]).max() + 0.055 > 0.1


@pytest.fixture(scope="module")
def ball():
    higher = ["run.detail=draft", "body.magnet.position=0, 0, 125 mm"]
    return poses(snapsim.load_scene(SCENES / "bearing-ball.toml", higher), "ball", count=2)


def test_rests_of_the_ball_are_merged_ordered_and_near_the_poles(ball):
    """A ball on a cylinder magnet hangs at the middle of either pole."""
    first = [r for r in ball.rests if r.verdict == "stable" and r.touches == ("magnet",)][:2]
    heights = sorted(r.place.position[2] for r in first)
    assert heights == pytest.approx([0.0975, 0.1525], abs=1e-6)
    assert [r.energy for r in ball.rests] == sorted(r.energy for r in ball.rests)
    assert all(r.copies >= 1 for r in ball.rests)


def test_free_rest_of_the_ball_is_where_the_pull_is_its_weight_and_leaves_upward(ball):
    """Earnshaw (1842) again, in the whole search."""
    free = [r for r in ball.rests if r.held_by == "field and weight"]
    assert free
    assert all(r.verdict != "stable" for r in free)
    below = next(r for r in free if r.place.position[2] < 0.09)
    assert below.stability.unstable[0].words in ("rises", "drops")


def test_holding_force_is_pull_less_weight(ball):
    rest = next(r for r in ball.rests if r.verdict == "stable" and 0.09 < r.place.position[2] < 0.1)
    landscape = EnergyLandscape(ball.system, ball.body)
    load = landscape.at(rest.place).load[2]
    assert rest.holding["magnet"] == pytest.approx(load, rel=1e-5)
    assert rest.pull_off == pytest.approx(load, rel=1e-3)


def test_summary_has_every_number_and_the_cautions(ball):
    result = rests_summary(ball)
    assert result["body"] == "ball"
    assert len(result["cautions"]) == 3
    assert {r["verdict"] for r in result["rests"]} >= {"stable"}
    assert all(len(r["position_m"]) == 3 for r in result["rests"])


def test_compact_nut_flat_under_the_middle_stays_where_friction_holds_it():
    """Common practice, no source: a compact nut can be coaxed to stay flat. Its flat pose is a
    rest, and friction holds it several millimetres round the middle."""
    changes = ["body.magnet.position=0, 0, 25 mm", "body.nut.position=0, 0, -15.01 mm"]
    scene = snapsim.load_scene(SCENES / "nut-and-ring.toml", [*changes, "run.detail=draft"])
    alone = replace(scene, bodies=scene.bodies[:2], start=State(
        Pose(scene.start.pose.position[:2], scene.start.pose.quaternion[:2]),
        scene.start.velocity[:2], scene.start.spin[:2],
    ))  # fmt: skip
    landscape, constraints = EnergyLandscape(alone, 1, "draft"), Constraints(alone, 1)
    rest = settle(landscape, constraints, landscape.start, descent_settings(landscape, constraints))
    assert rest.outcome == "rest"
    assert tilt(rest) == pytest.approx(0.0, abs=0.1)
    hold = friction_hold(landscape, constraints, rest.place, rest.limits, rest.multiplier)
    assert min(hold.band.values()) > 5e-3


def test_no_two_rests_lie_in_one_valley_of_the_energy():
    """The rim of a wide pole has many hollows on draft cells: each rest is told once."""
    found = poses(
        snapsim.load_scene(SCENES / "gear-blank.toml", [*WIDE, "run.detail=draft"]), count=16
    )
    flat = [r for r in found.rests if r.lie.magnet and r.verdict == "stable"]
    flat = [r for r in flat if r.lie.attitude is Attitude.FLAT]
    under = [r for r in flat if r.place.position[2] < 0]
    assert under
    # folded by the pole's own mirrors: corner and edge are apart, ripples of one of them are not
    spots = [np.sort(np.abs(r.place.position[:2])) for r in under]
    for k, spot in enumerate(spots):
        assert all(np.linalg.norm(spot - other) > 0.015 for other in spots[:k])
    assert sum(r.found for r in under) > len(under)


def test_what_was_found_until_an_interrupt_is_kept(monkeypatch):
    """Ctrl-C at the third start: the rests of two are judged, and the answer says it is partial."""
    from snapsim.landscape import rests as module

    real, count = module.settle, iter(range(99))

    def settled(landscape, constraints, place, settings):
        if next(count) == 2:
            raise KeyboardInterrupt
        return real(landscape, constraints, place, settings)

    monkeypatch.setattr(module, "settle", settled)
    scene = snapsim.load_scene(SCENES / "gear-blank.toml", [*WIDE, "run.detail=draft"])
    found = poses(scene, count=4)
    assert found.interrupted
    assert found.starts == 2
    assert found.rests
    assert "interrupted after 2 of" in rests_summary(found)["answer"]
