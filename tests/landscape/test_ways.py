"""Ways of a part over the edges it stands on: where they turn, end, and what they say."""

import numpy as np
import pytest

from snapsim.landscape.constraints import Constraints
from snapsim.landscape.energy import EnergyLandscape
from snapsim.landscape.place import axis_from_vertical
from snapsim.landscape.thresholds import Threshold, Ways
from snapsim.landscape.ways import WayEnd, WayStop, turns
from snapsim.scenario.loading import scene_from_text
from snapsim.words.margins import FATES, margin_answer, way_sentence

RIG = """
title = "Invented: a wheel with a proud hub flat on a table under a magnet"
[[body]]
name = "magnet"
shape = { kind = "box", size = "110 x 90 x 45 mm" }
material = "NdFeB N45"
magnetised = "-z"
position = "0, 0, MAGNET mm"
fixed = true
[[body]]
name = "part"
material = "grey cast iron"
position = "0, 0, 12.5 mm"
shape = PART
[[body]]
name = "table"
shape = { kind = "box", size = "800 x 600 x 30 mm" }
material = "oak"
position = "0, 0, -15 mm"
fixed = true
[run]
detail = "draft"
"""

HUB = '{ kind = "ring", outer_diameter = "60 mm", inner_diameter = "28 mm", length = "25 mm" }'
PLATE = '{ kind = "ring", outer_diameter = "185 mm", inner_diameter = "60 mm", length = "15 mm" }'
RIM = '{ kind = "ring", outer_diameter = "225 mm", inner_diameter = "185 mm", length = "22 mm" }'
MEMBERS = ", ".join("{ shape = " + s + " }" for s in (HUB, PLATE, RIM))
WHEEL = '{ kind = "compound", members = [' + MEMBERS + "] }"
BLOCK = '{ kind = "box", size = "40 x 60 x 120 mm" }'


def rig(part, magnet=247.5, more="", changes=()):
    text = RIG.replace("PART", part).replace("MAGNET", str(magnet)) + more
    return scene_from_text(text, "rig.toml", changes)


def turns_of(system):
    landscape, constraints = EnergyLandscape(system, 1, 60), Constraints(system, 1)
    return turns(landscape, constraints, landscape.start)


def silent(what, done, of_all):
    return


def test_a_wheel_turns_about_its_hub_then_its_rim_then_its_far_edge():
    """The rim touches down at asin of 1.5 mm over 82.5 mm, 1.04 deg: the second step of the
    turn."""
    way = turns_of(rig(WHEEL))[0]
    across = np.abs(way.pivot @ np.cross(way.axis, [0.0, 0.0, 1.0]))
    assert way.stop == WayStop(WayEnd.HALF_TURN)
    assert across[:3] == pytest.approx([0.030, 0.1125, 0.1125], abs=1e-4)
    assert axis_from_vertical(way.at(np.pi / 2)) == pytest.approx(np.pi / 2)
    gaps = [Constraints(rig(WHEEL), 1).gaps(way.at(s))[1] for s in np.linspace(0, np.pi, 50)]
    assert np.min(gaps) > -1e-6
    assert np.max(gaps) < 1e-6


def test_a_wheel_snaps_where_a_plain_ring_of_its_outline_does():
    """By trial the ring goes at 39 deg, to a degree: with the hub the way had ended at 3 deg."""
    found = {}
    ring = (
        '{ kind = "ring", outer_diameter = "225 mm", inner_diameter = "28 mm", length = "22 mm" }'
    )
    for name, part, z in (("wheel", WHEEL, 12.5), ("ring", ring, 11.0)):
        system = rig(part, changes=(f'body.part.position.z="{z} mm"', "run.detail=draft"))
        ways = Ways(system, 1, silent)
        _, found[name] = ways.measured(False, ("tilt",))[0]
    for threshold in found.values():
        assert np.degrees(threshold.beyond.value) == pytest.approx(39, abs=1.5)
        assert threshold.least < threshold.beyond.value


def test_a_body_in_the_way_ends_a_way_by_name_and_nothing_is_said_of_beyond():
    bar = """
[[body]]
name = "bar"
shape = { kind = "box", size = "40 x 600 x 40 mm" }
material = "oak"
position = "-100, 0, 60 mm"
fixed = true
"""
    system = rig(WHEEL, more=bar)
    ways = Ways(system, 1, silent)
    found = [t for _, t in ways.measured(False, ("tilt", "lift"))]
    cut = [t for t in found if t.stop == WayStop(WayEnd.BLOCKED, 3)]
    assert {t.kind for t in cut} == {"lift", "tilt"}
    names = [b.name for b in system.bodies]
    for threshold in cut:
        said = way_sentence(threshold, names)
        assert "bar is in the way; not searched beyond" in said
        assert "none found" not in said


@pytest.mark.parametrize("size", [(40, 120), (60, 90), (100, 80)])
def test_a_block_far_from_the_magnet_overturns_where_housner_says(size):
    """Without field the torque of the hand passes zero at atan(b/h), and the work up to there is m
    g R (1 - cos alpha): Housner, The behavior of inverted pendulum structures during earthquakes,
    Bull. Seismol. Soc. Am. 53, 403 (1963), eq. 1 and the potential of its fig. 1 (from memory).
    Over half a turn the work is that of the higher of both tips. The magnet 3 m up pulls with a
    millionth of the weight."""
    width, height = size
    part = '{ kind = "box", size = "%d x 60 x %d mm" }' % size  # noqa: UP031
    system = rig(part, 3000, changes=(f'body.part.position.z="{height / 2} mm"',))
    ways = Ways(system, 1, silent)
    alpha = np.arctan2(width, height)
    weight, reach = system.bodies[1].mass * 9.80665, 0.5e-3 * np.hypot(width, height)
    for way, tilt in ways.measured(False, ("tilt",)):
        if abs(tilt.direction[1]) < 0.9:
            continue
        assert tilt.balance.value == pytest.approx(alpha, abs=2e-4)
        assert way.torque(ways.fine, 0.0) == pytest.approx(weight * 0.5e-3 * width, rel=1e-4)
        rise = ways.fine.at(way.at(alpha)).energy - ways.fine.at(way.at(0.0)).energy
        assert rise == pytest.approx(weight * reach * (1 - np.cos(alpha)), rel=1e-4)
        # the top is met by samples of 7.5 deg: short by 1 - cos(3.75 deg) of m g R at most
        top = weight * (reach - 0.5e-3 * min(size))
        assert tilt.work == pytest.approx(top, abs=0.0022 * weight * reach)
        assert not tilt.found


def test_the_answer_names_the_weakest_way_and_never_a_way_cut_short_as_clear():
    system = rig(WHEEL)
    ways = [t for _, t in Ways(system, 1, silent).measured(False, ("tilt", "lift"))]
    names = [b.name for b in system.bodies]
    said = margin_answer("stays", "part", "", ways, names)
    assert "weakest way: tilt about" in said
    assert "may snap from" in said
    assert all(isinstance(t, Threshold) for t in ways)
    cut = [t for t in ways if not t.found and t.stop.why is not WayEnd.HALF_TURN]
    assert ("ended before a snap was found" in said) == bool(cut)


@pytest.mark.parametrize("fate", FATES)
def test_every_fate_has_its_sentence(fate):
    assert "part" in margin_answer(fate, "part", "magnet", [], ["part", "magnet"]).lower()
