"""Fate maps: a boundary known from statics, resuming, and faults of single points."""

from __future__ import annotations

import math

import numpy as np
import pytest

from snapsim.errors import InputError, OutputError
from snapsim.numerics.program import program_identity
from snapsim.scenario.spans import read_span
from snapsim.simulation.fate import Fate, FateKind
from snapsim.study import fate_map as module
from snapsim.study.fate_map import Slice, fate_map, system_at
from snapsim.study.ledger import Ledger

TIPPING = """
title = "A block let go on its edge"
[[body]]
name = "block"
shape = { kind = "box", size = "40 x 40 x 100 mm" }
material = "linear iron"
position = "0, 0, 60 mm"
rotation = { axis = "y", angle = "20 deg" }
[[body]]
name = "table"
shape = { kind = "box", size = "800 x 400 x 20 mm" }
material = "oak"
position = "0, 0, -10 mm"
fixed = true
[[body]]
name = "stop"
shape = { kind = "box", size = "10 x 200 x 20 mm" }
material = "hardly a magnet"
magnetised = "x"
position = "80 mm, 0 mm, 10.1 mm"
fixed = true
[[material]]
name = "linear iron"
density = "7800 kg/m^3"
susceptibility = 10
[[material]]
name = "hardly a magnet"
density = "5000 kg/m^3"
remanence = "1e-6 T"
[contact]
friction = 0.8
restitution = 0
[run]
duration = "2 s"
"""


def _slice(**more):
    given = {
        "first": read_span("body.block.rotation.angle=10..26 deg", "--first"),
        "second": read_span("gravity.x=0..1 m/s^2", "--second"),
        "resolution": 2.0,
        "on": "table",
        "columns": 2,
        "rows": 1,
    }
    return Slice(TIPPING, "tipping.toml", **(given | more))


@pytest.mark.slow
def test_a_block_on_its_edge_tips_over_where_its_weight_passes_the_edge(tmp_path):
    """Statics: on the level beyond tan(angle) = b/h; with a pull g_x aside, atan(g_x/g) before it.

    Gravity alone: the field of the stop, which tells the two falls apart, is a millionth of a
    magnet's. The boundary is bracketed to 2 deg and drawn in the middle of the bracket.
    """
    found = fate_map(_slice(), str(tmp_path / "map"), spots=0)
    assert found.whole
    assert {f.kind for f in found.fates} == {"snaps", "falls back"}
    (line,) = [b.line for b in found.boundaries]
    for angle, pull in line:
        due = math.degrees(math.atan(40 / 100) - math.atan(pull / 9.80665))
        assert angle == pytest.approx(due, abs=1.1)
    assert np.ptp(line[:, 1]) == pytest.approx(1.0)


def _by_rule(asked):
    """Fates by a rule in place of releases, noting the points that were asked for."""

    def fate_at(given, point, detail=None):
        asked.append((point, detail))
        i, j = (x / n for x, n in zip(point, given.size, strict=True))
        shift = 0.08 if detail == "normal" else 0.0
        snaps = i + 0.3 * j > 0.61 + shift
        return Fate(FateKind.SNAPS if snaps else FateKind.FALLS_BACK, "stop", 1.0 + i)

    return fate_at


def test_a_map_broken_off_at_any_point_and_started_again_is_the_same(tmp_path, monkeypatch):
    given = _slice(columns=4, rows=3, resolution=0.5)
    asked = []
    monkeypatch.setattr(module, "fate_at", _by_rule(asked))
    whole = fate_map(given, str(tmp_path / "whole"), spots=3)
    once = list(asked)
    asked.clear()
    for stop in (3, 40, 90, len(once) - 1):

        def interrupt(what, done, of_all, stop=stop):
            if len(asked) == stop:
                raise KeyboardInterrupt

        with pytest.raises(KeyboardInterrupt):
            fate_map(given, str(tmp_path / "parts"), spots=3, progress=interrupt)
    again = fate_map(given, str(tmp_path / "parts"), spots=3)
    assert sorted(asked, key=str) == sorted(once, key=str)  # nothing twice, nothing left out
    assert again.fates == whole.fates
    assert again.spots == whole.spots
    assert np.array_equal(again.point, whole.point)
    assert again.computed == 1


def test_spots_say_where_the_boundary_lies_with_other_cells(tmp_path, monkeypatch):
    """By a rule whose boundary is shifted by 8 % of the range, 1.28 deg, at detail normal."""
    monkeypatch.setattr(module, "fate_at", _by_rule([]))
    given = _slice(columns=4, rows=3, resolution=0.25)
    found = fate_map(given, str(tmp_path / "map"), spots=3)
    assert len(found.spots) == 3
    for spot in found.spots:
        assert spot.found - spot.drawn == pytest.approx(1.28, abs=0.26)  # two brackets


def test_a_ledger_of_another_slice_is_refused_and_anew_with_redo(tmp_path, monkeypatch):
    monkeypatch.setattr(module, "fate_at", _by_rule([]))
    fate_map(_slice(), str(tmp_path), spots=0)
    with pytest.raises(OutputError, match="--redo"):
        fate_map(_slice(resolution=4.0), str(tmp_path), spots=0)
    assert fate_map(_slice(resolution=4.0), str(tmp_path), spots=0, redo=True).computed > 0


def test_the_directory_of_a_sweep_is_refused(tmp_path):
    with Ledger(tmp_path, {"study": "another", "program": program_identity()}):
        pass
    with pytest.raises(OutputError, match="another slice"):
        fate_map(_slice(), str(tmp_path), spots=0)


def test_a_part_set_down_just_touches_its_support():
    """Lowest corner of a turned box: (b sin a + h cos a)/2 below its centre."""
    system, body = system_at(_slice(), (0, 0))
    angle = math.radians(10)
    height = 0.5 * (0.04 * math.sin(angle) + 0.1 * math.cos(angle))
    assert system.start.pose.position[body, 2] == pytest.approx(height, abs=2e-7)


def test_a_key_that_is_not_there_is_refused_before_any_release(tmp_path):
    wrong = read_span("body.blok.rotation.angle=10..26 deg", "--first")
    with pytest.raises(InputError, match='did you mean "block"'):
        fate_map(_slice(first=wrong), str(tmp_path / "map"))
    assert not (tmp_path / "map").exists()
