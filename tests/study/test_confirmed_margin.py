"""Margins confirmed by releases: what they take back, and how a pull is made greater."""

import sys
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

from snapsim.landscape.confirmation import LetGo, Ruling
from snapsim.landscape.place import Place
from snapsim.landscape.thresholds import RefinedQuantity, Threshold, Ways
from snapsim.landscape.ways import PushWay, WayEnd, WayStop
from snapsim.run.release import release
from snapsim.scenario.loading import scene_from_text
from snapsim.simulation.fate import FateKind
from snapsim.study import confirmed_margin as module
from snapsim.study import letting_go
from snapsim.study.confirmed_margin import confirmed
from snapsim.words.margins import margin_answer, way_sentence

sys.path.insert(0, str(Path(__file__).parents[1] / "landscape"))

NAMES = ["magnet", "table", "part"]
Z = np.array([0.0, 0.0, 1.0])
STAYS = LetGo(0.0, FateKind.STAYS)


def lift(beyond=None, searched=0.03, **more):
    """A lift of which a slow fall says that it may snap from `beyond` [m] on, give or take 1 mm."""
    quantity = None if beyond is None else RefinedQuantity(beyond, 1e-3, beyond, beyond)
    stop = WayStop(WayEnd.AT_MAGNET, 0)
    return Threshold(
        "lift", Z, searched, quantity, None, 0.0, 0.0, None, None, None, stop, **more
    )  # fmt: skip


class Scripted(letting_go.LettingGo):
    """Releases whose end is a function of how far the part was lifted."""

    def __init__(self, ends, spent=0):
        self.ends, self.spent, self.stronger, self.asked = ends, spent, 0.05, []
        self.system = self.plain = None

    def on(self, way, s):
        self.asked.append(s)
        self.spent += 1
        kind = self.ends(s)
        return LetGo(s, kind, "part", "magnet", np.radians(80.0))

    def judged(self, t, present=STAYS, snaps_now=False):
        way = PushWay("lift", Z, t.searched, None, None)
        said = module.confirmation(self, way, t, snaps_now, present)
        return replace(t, confirmation=said)


def snaps_above(edge):
    return lambda s: FateKind.SNAPS if s >= edge else FateKind.FALLS_BACK


def test_a_threshold_that_no_release_contradicts_stands():
    t = Scripted(snaps_above(0.02)).judged(lift(0.018))
    assert t.confirmation.ruling is Ruling.CONFIRMED
    assert t.least == pytest.approx(0.017)
    assert "may snap from 17 mm on (slow fall 18 +- 1 mm)" in way_sentence(t, NAMES)


@pytest.mark.parametrize("edge", [0.0165, 0.013, 0.009, 0.004, 0.001])
@pytest.mark.parametrize("slow", [0.018, None])
def test_a_release_that_snaps_inside_takes_the_margin_back_to_below_where_it_does(edge, slow):
    t = Scripted(snaps_above(edge)).judged(lift(slow))
    assert t.confirmation.ruling is Ruling.SNAPS
    assert 0 <= t.least < edge
    assert t.least > edge - 0.2 * t.searched
    said = way_sentence(t, NAMES)
    assert "part turns by 80 deg as it falls" in said
    assert "snaps to magnet" in said
    assert t.found


def test_what_does_not_come_to_rest_is_not_counted_as_safe():
    def ends(s):
        return FateKind.UNDECIDED if 0.01 < s < 0.0165 else snaps_above(0.0165)(s)

    t = Scripted(ends).judged(lift(0.018))
    assert t.confirmation.ruling is Ruling.UNKNOWN
    assert t.least < 0.0102
    said = way_sentence(t, NAMES)
    assert "did not come to rest in the time it was followed: not counted as safe" in said
    assert "turns by 80 deg as it falls and snaps to magnet" in said


def test_a_part_that_snaps_as_it_is_when_let_go_leaves_no_way_safe():
    now = LetGo(0.0, FateKind.SNAPS, "part", "magnet", 1.0)
    t = Scripted(snaps_above(0.02)).judged(lift(0.018), present=now)
    assert t.least == 0.0
    assert t.found
    assert margin_answer("stays", "part", "", [t], NAMES).startswith("Let go now, part may snap,")
    safe = Scripted(snaps_above(0.02)).judged(lift(0.018))
    assert "may snap, though" not in margin_answer("stays", "part", "", [safe], NAMES)


def test_a_way_for_which_no_releases_are_left_says_so():
    t = Scripted(snaps_above(0.02), spent=module.MOST).judged(lift(0.018))
    assert t.confirmation.ruling is Ruling.NOT_TRIED
    assert "not confirmed by releases" in way_sentence(t, NAMES)
    assert "not confirmed by releases" in way_sentence(lift(0.018), NAMES)


def test_a_part_that_snaps_now_is_called_safe_only_from_where_no_release_snaps():
    back = replace(lift(), snaps_now=True, safe_from=RefinedQuantity(0.01, 1e-3, 0.01, 0.01))
    t = Scripted(lambda s: FateKind.SNAPS if s < 0.015 else FateKind.STAYS).judged(
        back, snaps_now=True
    )
    assert 0.015 < t.no_snap_from < 0.02
    lost = Scripted(snaps_above(0.0)).judged(back, snaps_now=True)
    assert lost.no_snap_from is None
    none = Scripted(snaps_above(0.0)).judged(replace(back, safe_from=None), snaps_now=True)
    for way in (lost, none):
        said = way_sentence(way, NAMES)
        assert "snaps as it is, and from wherever it was let go up to 30 mm" in said
        assert "no snap" not in margin_answer("snaps", "part", "magnet", [way], NAMES)


def test_the_answer_counts_the_releases_and_the_ways_that_they_took_back():
    kept, lost = (Scripted(snaps_above(x)).judged(lift(0.018)) for x in (0.02, 0.012))
    said = margin_answer("stays", "part", "", [lost, kept], NAMES)
    assert "took back 1 of 2 ways" in said


LINEAR = """
title = "A ball of linear iron under a magnet"
[[material]]
name = "linear"
density = "7200 kg/m^3"
susceptibility = 50
[[material]]
name = "grade"
density = "7500 kg/m^3"
remanence = "{remanence:.12f} T"
[[body]]
name = "magnet"
shape = {{ kind = "box", size = "40 x 40 x 30 mm" }}
material = "grade"
magnetised = "z"
position = "0, 0, 60 mm"
fixed = true
[[body]]
name = "ball"
shape = {{ kind = "sphere", diameter = "16 mm" }}
material = "linear"
position = "6 mm, 0 mm, 0 mm"
[run]
detail = "draft"
duration = "0.5 s"
"""


def test_a_weaker_gravity_leaves_the_paths_of_a_stronger_pull():
    """In linear iron the pull goes with the square of the remanence; the same path, its time longer
    by the root and its energy less by the share. 1e-5: the steps' bounds."""
    more = 0.2
    strong = scene_from_text(LINEAR.format(remanence=1.2 * np.sqrt(1 + more)), "a.toml", ())
    plain = scene_from_text(LINEAR.format(remanence=1.2), "b.toml", ())
    one, other = (release(s).impacts[0] for s in (strong, letting_go.weaker_gravity(plain, more)))
    assert other.time == pytest.approx(one.time * np.sqrt(1 + more), rel=1e-5)
    assert other.kinetic_energy * (1 + more) == pytest.approx(one.kinetic_energy, rel=1e-5)
    assert other.point == pytest.approx(one.point, abs=1e-7)
    assert release(plain).impacts[0].time > 1.05 * one.time


def moving(system, along):
    """A run in which the part goes along x as a function of time says, under a magnet at x = 0."""
    time = np.linspace(0.0, 2.0, 201)
    x = along(time)
    velocity = np.zeros((len(time), 2, 3))
    velocity[:, 1, 0] = np.gradient(x, time)
    gap = 0.05 - 0.1 * np.abs(x)
    return SimpleNamespace(
        system=system, time=time, velocity=velocity, spin=np.zeros_like(velocity), gap=gap
    )


def test_only_what_nothing_brings_to_rest_may_go_to_and_fro_and_only_as_before():
    ball = scene_from_text(LINEAR.format(remanence=1.2), "ball.toml", ())
    box = LINEAR.replace('"sphere", diameter = "16 mm"', '"box", size = "16 x 16 x 16 mm"')
    box = scene_from_text(box.format(remanence=1.2), "box.toml", ())

    def swing(t):
        return 0.1 * np.sin(20 * t)

    assert letting_go.to_and_fro(moving(ball, swing))
    assert not letting_go.to_and_fro(moving(box, swing))
    assert not letting_go.to_and_fro(moving(ball, lambda t: np.exp(t) * swing(t)))
    assert not letting_go.to_and_fro(moving(ball, lambda t: 0.05 * t))
    assert letting_go.to_and_fro(moving(ball, lambda t: 0.01 * np.exp(-8 * t)))
    nearer = moving(ball, swing)
    nearer.gap[150] *= 0.8
    assert not letting_go.to_and_fro(nearer)


@pytest.mark.slow
def test_a_lifted_disc_that_rights_itself_as_it_falls_is_not_called_safe():
    """Drawn case 2: a slow fall says that a snap may begin at 17.4 mm; let go at 16.5 mm in the
    scene as it is, the disc turns on edge as it falls and snaps."""
    from margin_family import _did, text_of

    system = scene_from_text(text_of(2)[0], "case-2.toml", ())
    body = system.number("part")
    ways = Ways(system, body, lambda what, done, of_all: None)
    now = ways.let_go()
    _, found = confirmed(ways, now, ways.measured(False, ["lift"]))
    (t,) = (t for _, t in found)
    assert t.slow_least > 0.0165
    there = Place(ways.place.position + 0.0165 * Z, ways.place.quaternion)
    assert _did(system, body, there) == "snaps"
    assert t.least < 0.0155
    assert "turns by 9" in way_sentence(t, [b.name for b in system.bodies])
