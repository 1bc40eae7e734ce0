"""Margins of several parts together: who snaps, what moves with it, and what was not looked at."""

from dataclasses import replace

import pytest

from snapsim.analysis.joint_margins import joint_margin_summary
from snapsim.errors import InputError
from snapsim.landscape.confirmation import LetGo
from snapsim.landscape.place import with_one_at
from snapsim.landscape.thresholds import Ways, let_go_at
from snapsim.mechanics.ending import EndReason
from snapsim.run.release import release
from snapsim.scenario.loading import scene_from_text
from snapsim.simulation.fate import FateKind
from snapsim.study import joint_margin as module
from snapsim.study import letting_go
from snapsim.study.letting_go import LettingGo

NUTS = """
title = "Two boxes on a table under a magnet"
[[body]]
name = "magnet"
shape = { kind = "cylinder", diameter = "40 mm", length = "30 mm" }
material = "NdFeB N45"
magnetised = "z"
position = "0, 0, 85 mm"
fixed = true
[[body]]
name = "left"
shape = { kind = "box", size = "20 x 20 x 20 mm" }
material = "grey cast iron"
position = "-14, 0, 10.0001 mm"
[[body]]
name = "right"
shape = { kind = "box", size = "20 x 20 x 20 mm" }
material = "grey cast iron"
position = "16, 0, 10.0001 mm"
[[body]]
name = "table"
shape = { kind = "box", size = "300 x 300 x 20 mm" }
material = "oak"
position = "0, 0, -10 mm"
fixed = true
[contact]
friction = 0.4
[run]
detail = "draft"
duration = "0.5 s"
"""


def test_a_lone_part_is_not_together():
    alone = NUTS.replace('[[body]]\nname = "right"', '[[body]]\nfixed = true\nname = "right"')
    with pytest.raises(InputError, match="two free bodies"):
        module.joint_margin(scene_from_text(alone, "alone.toml", ()))


def scripted(monkeypatch, ends, most=module.MOST):
    """Releases whose end is a function of body and distance, in the scene of two boxes."""

    def at(self, place, s):
        self.spent += 1
        return ends(self.ways.constraints.body.name, s)

    monkeypatch.setattr(LettingGo, "at", at)
    monkeypatch.setattr(letting_go, "_stronger", lambda *given: 0.05)
    monkeypatch.setattr(Ways, "effort", lambda self, way, until: (0.0, 0.0, until))
    monkeypatch.setattr(module, "MOST", most)
    return module.joint_margin(scene_from_text(NUTS, "boxes.toml", ()))


def right_snaps(name, s):
    if name == "right" and s > 0.01:
        return LetGo(s, FateKind.SNAPS, "left", "magnet", moved=("left", "right"))
    return LetGo(s, FateKind.STAYS)


def test_the_weakest_way_says_who_snaps_and_what_moves_with_it(monkeypatch):
    found = scripted(monkeypatch, right_snaps, most=24)
    result = joint_margin_summary(found)
    lift = next(w for w in result["ways"] if (w["body"], w["kind"]) == ("right", "lift"))
    assert 0.007 < lift["may_snap_from_m"] < 0.01
    assert "left snaps to magnet" in lift["sentence"]
    assert "right moves too" in lift["sentence"]
    assert result["answer"].startswith("Let all go now, none of left and right snaps; weakest way")
    assert all(w["may_snap_from_m"] is None for w in result["ways"] if w["body"] == "left")


def test_ways_for_which_no_releases_are_left_are_said_not_to_have_been_looked_at(monkeypatch):
    found = scripted(monkeypatch, right_snaps, most=24)
    result = joint_margin_summary(found)
    left = sum(one["count"] for one in result["not_looked_at"])
    assert left > 0
    assert found.releases <= 24 + 6  # a bracket that was begun is finished
    assert f"{left} ways were NOT looked at" in result["answer"]


def test_parts_that_snap_as_they_are_or_are_not_known_not_to_are_said_first(monkeypatch):
    now = LetGo(0.0, FateKind.SNAPS, "left", "magnet", 1.5, moved=("left", "right"))
    said = joint_margin_summary(scripted(monkeypatch, lambda name, s: now))["answer"]
    assert said.startswith("Let all go now, left turns by 86 deg and snaps to magnet; right moves")
    open_ = LetGo(0.0, FateKind.UNDECIDED, "left")
    said = joint_margin_summary(scripted(monkeypatch, lambda name, s: open_))["answer"]
    assert "not found where left goes: take it that it snaps" in said


def test_an_interrupt_keeps_what_was_found(monkeypatch):
    def ends(name, s):
        if name == "right" and s > 0:
            raise KeyboardInterrupt
        return LetGo(s, FateKind.STAYS)

    found = scripted(monkeypatch, ends)
    assert found.interrupted
    assert len(found.ways) == 1
    assert found.left_out


@pytest.mark.slow
@pytest.mark.parametrize("most", [5, pytest.param(20, marks=pytest.mark.longer)])
def test_from_inside_the_lift_that_is_said_nothing_snaps_and_from_beyond_it_something_does(
    monkeypatch, most
):
    """Releases of the scene as it is, usual steps and pull, both boxes free."""
    monkeypatch.setattr(module, "MOST", most)
    system = scene_from_text(NUTS, "boxes.toml", ())
    found = module.joint_margin(system)
    lifts = [w for w in found.ways if w.threshold.kind == "lift"]
    assert len(lifts) == (1 if most == 5 else 2)
    for way in lifts:
        t, body = way.threshold, system.number(way.body)
        ways = Ways(system, body, lambda what, done, of_all: None)
        lift = next(w for w in ways.pushes() if w.kind == "lift")
        struck = []
        for s in (0.95 * t.least, t.confirmation.decisive.s + 2e-3):
            pose = with_one_at(system.start.pose, body, let_go_at(lift, s))
            now = replace(system, start=replace(system.start, pose=pose))
            struck.append({i.against for i in release(now, until=at_magnet).impacts})
        assert "magnet" not in struck[0], (way.body, t.least)
        assert "magnet" in struck[1], (way.body, t.least)


def at_magnet(impact):
    """End a run where the magnet is struck."""
    return EndReason.FATE_DECIDED if impact.against == "magnet" else None
