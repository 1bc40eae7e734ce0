"""A part on a rail goes along the rail: no tilt that the rail forbids, no way along it left out."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from snapsim.analysis.margins import limits_of
from snapsim.landscape.place import Place, with_one_at
from snapsim.landscape.thresholds import Ways
from snapsim.landscape.ways import WayEnd
from snapsim.run.fate import fate
from snapsim.scenario.loading import scene_from_text

RAIL = """
title = "A disc on a rail under a magnet"
[[body]]
name = "magnet"
shape = { kind = "cylinder", diameter = "40 mm", length = "30 mm" }
material = "NdFeB N45"
magnetised = "z"
position = "0, 0, 95 mm"
fixed = true
[[body]]
name = "part"
shape = { kind = "cylinder", diameter = "30 mm", length = "10 mm" }
material = "grey cast iron"
position = "0, 0, 5 mm"
[[body]]
name = "table"
shape = { kind = "box", size = "300 x 300 x 20 mm" }
material = "oak"
position = "0, 0, -10 mm"
fixed = true
[[joint]]
name = "rail"
kind = "slide"
between = ["part", "world"]
axis = "0, 0, 1"
at = ["0, 0, 0 mm", "0, 0, 5 mm"]
[run]
detail = "draft"
duration = "0.5 s"
"""


def silent(*_):
    pass


def ways_of(text):
    system = scene_from_text(text, "rail.toml", ())
    return system, Ways(system, system.number("part"), silent)


def test_a_part_on_an_upright_rail_is_lifted_and_not_tilted():
    """Before, four tilts that the rail forbids were looked at, and no snap was found."""
    system, ways = ways_of(RAIL)
    assert not ways.turns()
    ((way, lift),) = ways.measured(False)
    assert lift.kind == "lift"
    assert lift.direction == pytest.approx([0, 0, 1])
    assert lift.least is not None
    assert way.at(lift.least).position == pytest.approx([0, 0, 0.005 + lift.least], abs=1e-9)
    for s, ends in ((0.9 * lift.least, "falls back"), (lift.beyond.value + 2e-3, "snaps")):
        pose = with_one_at(system.start.pose, 1, Place(*_at(way, s)))
        there = replace(system, start=replace(system.start, pose=pose))
        assert fate(there, 1).kind == ends


def _at(way, s):
    place = way.at(s)
    return place.position, place.quaternion


def test_a_rail_ends_at_its_stop():
    _, ways = ways_of(RAIL.replace('axis = "0, 0, 1"', 'axis = "z"\nstops = ["0 mm", "20 mm"]'))
    ((_, lift),) = ways.measured(False)
    assert lift.stop.why is WayEnd.TIED
    assert lift.searched == pytest.approx(0.020, abs=5e-4)
    assert not lift.found


def test_a_leaning_rail_has_both_its_ways_and_a_hinge_none_but_its_turns():
    lean = RAIL.replace('axis = "0, 0, 1"', 'axis = "1, 0, 1"').replace("0, 0, 5 mm", "0, 0, 30 mm")
    _, ways = ways_of(lean)
    found = {way.kind: way.direction for way in ways.pushes()}
    assert found["lift"] == pytest.approx(np.array([1, 0, 1]) / np.sqrt(2))
    assert found["push"] == pytest.approx(-found["lift"])
    assert not ways.turns()
    hinge = RAIL.replace('"slide"', '"hinge"').replace('axis = "0, 0, 1"', 'axis = "x"')
    _, ways = ways_of(hinge)
    assert not ways.pushes()
    assert [abs(way.axis[0]) for way in ways.turns()] == pytest.approx([1, 1])


def test_a_margin_says_that_friction_on_a_ball_joint_was_not_looked_at():
    """A string guides nothing: of a part on one the pushes are looked at."""
    ball = RAIL.replace('"slide"', '"ball"').replace('axis = "0, 0, 1"', "")
    system = scene_from_text(ball, "rail.toml", ())
    assert any("on rail was not looked at" in line for line in limits_of(_margin_of(system)))
    cord = RAIL.replace('"slide"', '"string"').replace('axis = "0, 0, 1"', 'length = "50 mm"')
    system = scene_from_text(cord, "rail.toml", ())
    assert not any("was not looked at" in line for line in limits_of(_margin_of(system)))


def _margin_of(system):
    return SimpleNamespace(system=system, body=system.number("part"), guided=())


FLAP = RAIL.replace('"slide"', '"hinge"').replace('axis = "0, 0, 1"', 'axis = "y"')


@pytest.mark.parametrize("edge", [(-15.0, -5.0), (-15.0, 0.0), (0.0, 0.0)])
def test_a_flap_on_a_table_turns_about_its_hinge_and_is_not_set_down(edge):
    """Before, it was set down on the table at every angle, 19 mm off its hinge, where nothing can
    be let go: half a turn without a snap was told, of which no place had been looked at."""
    x, z = edge
    box = FLAP.replace(
        'kind = "cylinder", diameter = "30 mm", length = "10 mm"',
        'kind = "box", size = "30 x 30 x 10 mm"',
    )
    at = 'at = ["0, 0, 0 mm", "0, 0, 5 mm"]'
    _, ways = ways_of(box.replace(at, f'at = ["{x}, 0, {z} mm", "{x}, 0, {z + 5} mm"]'))
    turns = ways.turns()
    assert len(turns) == 2
    for way in turns:
        for angle in np.linspace(0.0, way.longest, 9):
            limits = ways.constraints.limits(way.at(angle), 1e-4)
            assert np.abs(limits.misfit).max() < 1e-9
            assert ways.constraints.gaps(way.at(angle)).min() > -1e-6
    if edge == (-15.0, -5.0):  # hinged at its edge it opens until it stands, and on
        assert max(way.longest for way in turns) > np.radians(85)
