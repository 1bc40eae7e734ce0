"""`margin --find`: a value known from statics, and ranges that have none or more than one."""

import math

import numpy as np
import pytest

from snapsim.analysis.found_values import found_summary, tried_summary
from snapsim.errors import InputError
from snapsim.run.release import release
from snapsim.scenario.loading import scene_from_text
from snapsim.scenario.spans import read_span
from snapsim.simulation.fate import Fate, FateKind
from snapsim.study import find_value as module
from snapsim.study.find_value import (
    Asked,
    Finding,
    Search,
    find_value,
    read_condition,
)

BALL = """
title = "A ball on a table under a magnet"
[[body]]
name = "magnet"
shape = { kind = "cylinder", diameter = "40 mm", length = "30 mm" }
material = "NdFeB N45"
magnetised = "z"
position = "0, 0, 100 mm"
fixed = true
[[body]]
name = "ball"
shape = { kind = "sphere", diameter = "20 mm" }
material = "grey cast iron"
position = "0, 0, 10 mm"
[[body]]
name = "table"
shape = { kind = "box", size = "300 x 300 x 20 mm" }
material = "oak"
position = "0, 0, -10 mm"
fixed = true
[run]
detail = "draft"
duration = "0.3 s"
"""


def asked(values, condition, **more):
    span = read_span(f"body.magnet.position.z={values}", "--find")
    return Finding(BALL, "ball.toml", span, read_condition(condition), **more)


def summary(found):
    tried = [tried_summary(t.numbers, t.detail, t.measure, t.holds, t.problem) for t in found.tried]
    said = {
        "title": "t", "body": found.body, "condition": found.condition.text,
        "outcome": found.outcome.value, "rising": found.rising,
    }  # fmt: skip
    return found_summary(found.span, said, (found.value, found.beyond), tried)


def test_the_height_at_which_a_ball_no_longer_leaps_is_where_pull_equals_weight():
    """Statics: on the value found the pull is below the weight, on the one beyond it is above; both
    by `force` as placed, on the cells that each was tried with."""
    import snapsim
    from snapsim.scenario.loading import scene_from_text

    found = find_value(asked("40..100 mm", "no snap"))
    assert found.outcome is Search.FOUND
    assert found.rising

    def surplus(height, detail):
        changes = (f'body.magnet.position.z="{height} mm"', f'run.detail="{detail}"')
        scene = scene_from_text(BALL, "ball.toml", changes)
        pull = float(snapsim.force(scene).force[1, 2])
        return pull - scene.bodies[1].mass * 9.80665

    assert surplus(found.value[0], "normal") < 0 < surplus(found.beyond[0], "draft")
    assert surplus(found.value[0], "fine") < 0  # its pull is within the bar of the normal cells'
    assert found.value[0] - found.beyond[0] < 60 * (1 / 48 + 1 / 96)
    answer = summary(found)["answer"]
    assert "confirmed with normal cells" in answer
    assert f"{found.value[0]:.4g} mm" in answer


BARS = """
[[body]]
name = "left bar"
shape = { kind = "box", size = "40 x 100 x 6 mm" }
material = "oak"
position = "-25, 0, 30 mm"
fixed = true
[[body]]
name = "right bar"
shape = { kind = "box", size = "40 x 100 x 6 mm" }
material = "oak"
position = "25, 0, 30 mm"
fixed = true
"""


def snaps(text, changes):
    """Whether the ball of a scene strikes the magnet in a release with the scene's own cells."""
    import snapsim
    from snapsim.scenario.loading import scene_from_text

    run = snapsim.release(scene_from_text(text, "ball.toml", changes))
    return any("magnet" in (i.body, i.against) for i in run.impacts)


def test_the_gap_of_a_guard_that_a_ball_does_not_pass_is_the_balls_own_width():
    """Geometry: two bars between ball and pole, of gap 8 to 34 mm; the ball has 20 mm. Keys that go
    together: both bars. The bracket is 26 mm / 192 wide; releases confirm both sides of 20 mm."""
    text = BALL.replace("0, 0, 100 mm", "0, 0, 65 mm") + BARS
    keys = "body.left bar.position.x=-24..-37 mm and body.right bar.position.x=24..37 mm"
    span = read_span(keys, "--find")
    found = find_value(Finding(text, "ball.toml", span, read_condition("no snap"), body="ball"))
    assert found.outcome is Search.FOUND
    assert not found.rising

    def gap(numbers):
        return 2 * (-numbers[0] - 20)

    def bars(x):
        return f'body.left bar.position.x="-{x} mm"', f'body.right bar.position.x="{x} mm"'

    assert 20 - 26 / 192 < gap(found.value) < 20 < gap(found.beyond) < 20 + 26 / 192
    assert not snaps(text, bars(-found.value[0]))
    assert snaps(text, bars(-found.beyond[0]))


def test_a_shelf_between_pole_and_ball_grows_until_a_hand_can_take_the_ball_off():
    """Keys that go together: the spacer's thickness, and magnet and shelf that make room for it.

    On the value found the pull-off is at most what was asked for even where the pull is at the top
    of its bar, on the other it may be more; by `force` as placed with the cells that each was tried
    with."""
    import snapsim
    from snapsim.scenario.loading import scene_from_text

    text = BALL.replace('"300 x 300 x 20 mm"', '"60 x 60 x 4 mm"')
    text = text.replace("0, 0, -10 mm", "0, 0, 22 mm").replace("0, 0, 100 mm", "0, 0, 39 mm")
    span = read_span(
        "body.table.shape.size=60 x 60 x 1 mm..60 x 60 x 13 mm and body.table.position.z=20.5..26.5"
        " mm and body.magnet.position.z=36..48 mm",
        "--find",
    )
    found = find_value(Finding(text, "ball.toml", span, read_condition("pull-off <= 20 N")))
    assert found.outcome is Search.FOUND

    def pull(numbers, detail):
        thick = numbers[2]
        changes = (
            f'body.table.shape.size="60 x 60 x {thick} mm"',
            f'body.table.position.z="{20 + thick / 2} mm"',
            f'body.magnet.position.z="{35 + thick} mm"',
            f'run.detail="{detail}"',
        )
        told = snapsim.force(scene_from_text(text, "ball.toml", changes), accuracy=True)
        bar = told.accuracy.force
        off = np.linalg.norm(bar.value[1] - told.force[1]) + bar.error[1]
        return told.pull_off[1].force, told.pull_off[1].force + off

    plain, top = pull(found.value, "normal")
    assert plain < top <= 20
    assert max(pull(found.beyond, cells)[1] for cells in ("draft", "normal")) > 20
    assert "body.magnet.position.z = " in summary(found)["answer"]


@pytest.fixture
def measures(monkeypatch):
    """Put a function of the magnet's height [mm] in place of what is measured."""

    def put(of):
        def measured(system, body, condition):
            return of(1e3 * system.start.pose.position[0, 2])

        monkeypatch.setattr(module, "measured", measured)

    return put


def test_a_condition_that_comes_and_goes_has_no_single_value(measures):
    measures(lambda z: math.sin(z / 8))
    found = find_value(asked("50..150 mm", "energy <= 0 J"))
    assert found.outcome is Search.NOT_MONOTONE
    assert found.value is None
    assert "comes and goes" in summary(found)["answer"]


@pytest.mark.parametrize(("level", "outcome"), [(1.0, Search.NEVER), (-1.0, Search.ALWAYS)])
def test_a_condition_met_everywhere_or_nowhere_has_no_limit(measures, level, outcome):
    measures(lambda z: level)
    found = find_value(asked("50..150 mm", "energy <= 0 J"))
    assert found.outcome is outcome
    assert ("None found" in summary(found)["answer"]) == (outcome is Search.NEVER)


@pytest.mark.parametrize(
    ("condition", "rising"), [("energy <= 3 J", True), ("tilt >= 3 rad", False)]
)
def test_a_monotone_measure_is_bracketed_and_errs_to_the_side_that_holds(
    measures, condition, rising
):
    measures(lambda z: 300 / z)
    found = find_value(asked("50..150 mm", condition))
    assert found.rising is rising
    assert abs(found.value[0] - 100) < 100 / 192 + 1e-9
    assert (found.value[0] >= 100) if rising else (found.value[0] <= 100)


def test_finer_cells_that_contradict_move_the_value_or_end_it(monkeypatch):
    def measured(system, body, condition):
        z = 1e3 * system.start.pose.position[0, 2]
        return z - (100 if system.detail == "draft" else 105)

    monkeypatch.setattr(module, "measured", measured)
    found = find_value(asked("50..150 mm", "lift >= 0 mm"))
    assert found.outcome is Search.FOUND
    assert 105 <= found.value[0] < 108

    monkeypatch.setattr(
        module, "measured",
        lambda s, b, c: (1e3 * s.start.pose.position[0, 2] - 100) if s.detail == "draft" else -1.0,
    )  # fmt: skip
    lost = find_value(asked("50..150 mm", "lift >= 0 mm"))
    assert lost.outcome is Search.CONTRADICTED
    assert "None confirmed" in summary(lost)["answer"]


@pytest.mark.parametrize(
    ("stronger", "outcome"),
    [(FateKind.FALLS_BACK, Search.FOUND), (FateKind.SNAPS, Search.CONTRADICTED),
     (FateKind.UNDECIDED, Search.CONTRADICTED), (FateKind.FAILED, Search.CONTRADICTED)],
)  # fmt: skip
def test_no_snap_is_found_only_where_a_stronger_pull_does_not_snap_either(
    monkeypatch, stronger, outcome
):
    """What becomes of the part with the pull at the top of its bar is pretended; what is not known
    to fall back is not taken as safe."""
    monkeypatch.setattr(
        module, "measured", lambda s, b, c: float(s.start.pose.position[0, 2] > 0.1)
    )
    monkeypatch.setattr(module, "followed", lambda *_: None)
    monkeypatch.setattr(module, "pull_low_by", lambda _: 0.05)
    monkeypatch.setattr(module, "fate", lambda *_: Fate(stronger))
    assert find_value(asked("50..150 mm", "no snap")).outcome is outcome


@pytest.mark.parametrize("condition", ["pull-off <= 60 N", "pull-off >= 1 mN"])
def test_a_part_that_hangs_in_the_air_is_not_known_to_come_off(condition):
    air = scene_from_text(BALL, "ball.toml", ('body.ball.position.z="20 mm"',))
    asked_for = read_condition(condition)
    assert not asked_for.holds(module.measured(air, 1, asked_for))


@pytest.mark.parametrize("text", ["snap", "energy < 5 J", "tilt >= 5 mm", "speed <= 1 m/s", ""])
def test_a_condition_that_cannot_be_read_is_refused_with_what_is_allowed(text):
    with pytest.raises(InputError):
        read_condition(text)


def test_conditions_are_read_in_si():
    found = read_condition("Lift >= 20 mm")
    assert (found.asked, found.limit, found.most) == (Asked.LIFT, 0.02, False)
    assert read_condition("pull-off <= 60 N").text == "pull-off <= 60 N"  # shown as it was asked


CORD = """
[[joint]]
name = "cord"
kind = "string"
between = ["ball", "world"]
at = ["0, 0, -10 mm", "0, 0, 0 mm"]
length = "10 mm"
"""


@pytest.mark.longer  # half a minute
def test_the_cord_that_keeps_a_ball_from_the_magnet_is_shorter_than_the_gap():
    """25 mm above the ball is the pole: by geometry a cord of that length lets it get there. From
    22 mm on normal cells leave it swinging upright on the cord, which does not count as no snap."""
    near = BALL.replace("0, 0, 100 mm", "0, 0, 60 mm").replace('"0.3 s"', '"0.5 s"') + CORD
    span = read_span("joint.cord.length=5..40 mm", "--find")
    found = find_value(Finding(near, "ball.toml", span, read_condition("no snap")))
    assert 15.0 < found.value < 25.0
    assert found.beyond > found.value
    for length, strikes in ((found.value, False), (25.5, True)):
        changes = (f'joint.cord.length="{length!r} mm"',)
        run = release(scene_from_text(near, "ball.toml", changes))
        assert any(i.against == "magnet" for i in run.impacts) == strikes
