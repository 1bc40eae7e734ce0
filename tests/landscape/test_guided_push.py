"""The push along a hinge or a rail: closed forms of statics, and releases that are given it."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from snapsim.landscape.guided_push import guided_pushes
from snapsim.landscape.margin import margin
from snapsim.landscape.slipping import push_to_move
from snapsim.landscape.thresholds import Ways
from snapsim.run.fate import fate
from snapsim.scenario.loading import scene_from_text
from snapsim.simulation.fate import FateKind
from snapsim.study.letting_go import weaker_gravity
from snapsim.words.guided_pushes import guided_answer, guided_sentence

G = 9.80665

SCENE = """
title = "A steel part that is guided beside a magnet"
[[body]]
name = "magnet"
shape = {{ kind = "box", size = "40 x 60 x 60 mm" }}
material = "NdFeB N45"
magnetised = "x"
position = "0, 0, 0 mm"
fixed = true
[[body]]
name = "part"
shape = {{ kind = "box", size = "{size} mm" }}
material = "low-carbon steel"
position = "{at} mm"
{joint}
[run]
detail = "normal"
duration = "1.5 s"
"""
RAIL = """
[[joint]]
name = "guide"
kind = "slide"
between = ["part", "world"]
axis = "{axis}"
at = ["0, 0, 0 mm", "{at} mm"]
friction = {rub}
"""
HINGE = """
[[joint]]
name = "guide"
kind = "hinge"
between = ["part", "world"]
axis = "y"
at = ["0, 0, 60 mm", "{at} mm"]
friction_torque = "{rub} N m"
"""


def silent(*_):
    pass


def railed(x, rub, axis="1, 0, 0"):
    at = f"{x}, 0, 0"
    joint = RAIL.format(axis=axis, at=at, rub=rub)
    return scene_from_text(SCENE.format(size="20 x 30 x 30", at=at, joint=joint), "rail.toml", ())


def hinged(x, rub):
    joint = HINGE.format(at=f"{x}, 0, 60", rub=rub)
    text = SCENE.format(size="12 x 20 x 110", at=f"{x}, 0, 0", joint=joint)
    return scene_from_text(text, "hinge.toml", ())


def pushes_along(system, ways_of):
    """The pushes along ways that are taken as followed to their ends."""
    ways = Ways(system, system.number("part"), silent)
    found = []
    for way in getattr(ways, ways_of)():
        far = min(ways.reach(way)[0], 0.15) if ways_of == "pushes" else ways.reach(way)[0]
        found.append((way, SimpleNamespace(searched=far, least=None, snaps_now=False)))
    return system.bodies[1].mass, guided_pushes(ways, found)


def test_up_and_down_an_inclined_rail_a_push_is_that_of_a_block_on_a_slope():
    """P = m g (mu cos a +- sin a), the same wherever it is and however it is given."""
    slope = 0.4  # steeper than friction holds would be 0.5
    system = railed(3000, 0.5, f"1, 0, {slope}")
    mass, (down, up) = pushes_along(system, "pushes")
    share = np.hypot(1, slope)
    for push, sign in ((up, 1), (down, -1)):
        due = mass * G * (0.5 + sign * slope) / share
        for one in (push.starts, push.slow, push.kept_up):
            assert one.value == pytest.approx(due, rel=2e-3)
        assert push.work.value == pytest.approx(due * push.until, rel=2e-3)


def test_a_pendulum_that_rubs_is_turned_by_the_torque_of_statics_and_by_three_quarters_kept_up():
    """T + m g r slowly; kept up T + m g r max (1 - cos b)/b, 0.7246 at 133.6 deg (W/b by hand)."""
    mass, pushes = pushes_along(hinged(3000, 0.02), "turns")
    assert len(pushes) == 2
    lever = mass * G * 0.060
    for push in pushes:
        assert push.turns
        assert push.starts.value == pytest.approx(0.02, rel=2e-3)
        assert push.slow.value == pytest.approx(lever + 0.02, rel=4e-3)
        assert push.kept_up.value == pytest.approx(0.7246 * lever + 0.02, rel=4e-3)
        assert push.work.value == pytest.approx(2 * lever + np.pi * 0.02, rel=4e-3)
        assert push.farthest == pytest.approx(np.hypot(0.115, 0.006), rel=1e-6)


def test_a_rail_that_does_not_rub_holds_nothing_and_nothing_is_said_of_a_push():
    _, pushes = pushes_along(railed(140, 0.0), "pushes")
    assert pushes == ()


def drawn(seed):
    """A part on a guide that rubs enough to hold it beside a magnet: drawn anew until it does."""
    rng = np.random.default_rng((18, seed))
    on_rail = seed % 2 == 0
    while True:
        if on_rail:
            system = railed(round(rng.uniform(85, 130), 1), round(rng.uniform(0.35, 0.8), 3))
        else:
            system = hinged(round(rng.uniform(95, 130), 1), round(rng.uniform(0.05, 0.12), 3))
        ways = Ways(system, 1, silent)
        if not push_to_move(ways.fine, ways.constraints, ways.place):
            return system, on_rail


def pushed(system, push, size):
    """The scene with a steady push on a rail as gravity along it."""
    along = size * push.direction / system.bodies[1].mass
    return replace(system, gravity=system.gravity + along)


def knocked(system, push, work):
    """The scene with a part that begins with an energy along its guide."""
    body, spin, velocity = system.bodies[1], np.zeros((2, 3)), np.zeros((2, 3))
    if push.turns:
        across = body.shape.gyration[1, 1] + 0.060**2
        spin[1] = np.sqrt(2 * work / (body.mass * across)) * push.direction
        velocity[1] = np.cross(spin[1], [0, 0, -0.060])
    else:
        velocity[1] = np.sqrt(2 * work / body.mass) * push.direction
    return replace(system, start=replace(system.start, velocity=velocity, spin=spin))


def ends(system):
    return fate(system, 1).kind


@pytest.mark.parametrize(
    "seed", [0, *(pytest.param(k, marks=pytest.mark.longer) for k in range(1, 14))]
)
def test_less_than_what_is_said_does_not_snap_and_more_does(seed):
    """A share of 0.02 inside the bar; 0.1 outside: what is said ends where a snap may begin, of
    which its own bar is taken off."""
    system, on_rail = drawn(seed)
    push = next(one for one in margin(system).guided if one.snaps)
    knock = push.work
    cases = [(knocked, knock)] + ([(pushed, push.kept_up)] if on_rail else [])
    for given, needed in cases:
        less = 0.98 * (needed.value - needed.error)
        more = 1.1 * (needed.value + needed.error)
        assert ends(given(system, push, less)) is not FateKind.SNAPS
        assert ends(given(system, push, more)) is FateKind.SNAPS
    assert "may snap" in guided_sentence(push)
    assert "may be enough" in guided_answer((push,))


def test_a_weaker_gravity_weakens_what_a_hinge_rubs_with():
    """Before, a pull raised by a tenth met a friction raised by a tenth too."""
    (joint,) = weaker_gravity(hinged(120, 0.1), 0.25).joints
    assert joint.friction_torque == pytest.approx(0.08)
