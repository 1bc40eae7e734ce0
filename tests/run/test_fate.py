"""Fates of parts let go against boundaries known in closed form."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from snapsim.mechanics.ending import EndReason, ended
from snapsim.run.fate import fate, judged
from snapsim.run.release import release
from snapsim.scenario.loading import scene_from_text
from snapsim.words import endings

G = 9.80665
MU_0 = 4e-7 * math.pi

BALL = """
title = "ball under a ball magnet"
[[body]]
name = "magnet"
shape = { kind = "sphere", diameter = "40 mm" }
material = "test magnet"
magnetised = "z"
position = "0, 0, 0 mm"
fixed = true
[[body]]
name = "ball"
shape = { kind = "sphere", diameter = "4 mm" }
material = "test iron"
position = "0, 0, -60 mm"
[[body]]
name = "floor"
shape = { kind = "box", size = "200 x 200 x 10 mm" }
material = "oak"
position = "0, 0, -105 mm"
fixed = true
[[material]]
name = "test iron"
density = "7800 kg/m^3"
susceptibility = 1000
[[material]]
name = "test magnet"
density = "7500 kg/m^3"
remanence = "1.2 T"
[run]
duration = "1 s"
detail = "normal"
"""


def _balance() -> float:
    """Distance [m] at which a ball magnet holds a small iron ball against its weight.

    A uniformly magnetised ball is a dipole outside: B = 2 J R^3/(3 z^3) on its axis (Jackson,
    Classical Electrodynamics, 3rd ed. 1999, eq. 5.107 and section 5.10, from memory); a ball of
    susceptibility chi in a field takes M = 3 chi/(3 + chi) H (same, section 5.11, from memory), so
    F = V 3 chi/(3 + chi)/mu0 B |dB/dz| = V 3 chi/(3 + chi)/mu0 3 B0^2/z^7 = rho V g.
    """
    field = 2 * 1.2 * 0.02**3 / 3
    response = 3 * 1000 / 1003
    return (3 * response * field**2 / (MU_0 * 7800 * G)) ** (1 / 7)


@pytest.mark.parametrize(("share", "kind"), [(0.99, "snaps"), (1.01, "falls back")])
def test_a_ball_leaves_its_unstable_balance_upward_from_above_and_downward_from_below(share, kind):
    """Force goes as z^-7: 1 % of z is 7 % of force, more than the ball's size (0.3 %) and cells."""
    z = share * _balance()
    system = scene_from_text(BALL, "ball.toml", (f'body.ball.position.z="{-z} m"',))
    found = fate(system, 1)
    assert found.kind == kind
    assert found.struck == ("magnet" if kind == "snaps" else "floor")


def test_a_snap_is_decided_at_the_blow_and_its_energy_is_what_the_field_gave():
    """Released a little above the balance; work of the dipole force against the exact integral."""
    z = 0.8 * _balance()
    system = scene_from_text(BALL, "ball.toml", (f'body.ball.position.z="{-z} m"',))
    found = fate(system, 1)
    assert found.ending == ended(EndReason.FATE_DECIDED)
    assert found.lasted == found.time
    volume = math.pi / 6 * 0.004**3
    field, response = 2 * 1.2 * 0.02**3 / 3, 3 * 1000 / 1003
    work = 0.5 * volume * response * field**2 / MU_0 * (0.022**-6 - z**-6)
    lift = 7800 * volume * G * (z - 0.022)
    # near the pole a ball of a tenth of the distance is not small: (a/z)^2 terms of about 2.5 %
    assert found.energy == pytest.approx(work - lift, rel=0.04)


def test_a_part_that_lies_still_stays_and_one_at_the_magnet_touches():
    down = scene_from_text(BALL, "ball.toml", ('body.ball.position.z="-98 mm"',))
    assert fate(down, 1).kind == "stays"
    up = scene_from_text(BALL, "ball.toml", ('body.ball.position.z="-22 mm"',))
    assert fate(up, 1).kind == "touches"
    inside = scene_from_text(BALL, "ball.toml", ('body.ball.position.z="-21 mm"',))
    assert fate(inside, 1).kind == "no room"


def test_a_part_still_in_the_air_at_the_end_is_undecided():
    changes = (f'body.ball.position.z="{-1.2 * _balance()} m"', 'run.duration="5 ms"')
    assert fate(scene_from_text(BALL, "ball.toml", changes), 1).kind == "undecided"


def test_no_fate_depends_on_words(monkeypatch):
    """Reworded throughout, a body that left the scene still goes away, and no other stop does."""
    monkeypatch.setattr(endings, "_REASONS", dict.fromkeys(EndReason, "went from the scene"))
    run = release(scene_from_text(BALL, "ball.toml", ('run.duration="1 ms"',)))
    assert not run.impacts
    assert judged(replace(run, ending=ended(EndReason.LEFT_SCENE, 7)), 1).kind == "goes away"
    for reason in (EndReason.STEP_LIMIT, EndReason.NOT_FINITE, EndReason.JOINT_BLOCKED):
        assert judged(replace(run, ending=ended(reason)), 1).kind == "failed"
