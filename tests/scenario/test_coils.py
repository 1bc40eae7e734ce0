"""Coils in scene files: what is read, what is refused in one line, what check says."""

import numpy as np
import pytest

import snapsim
from snapsim.errors import InputError
from snapsim.scenario.advice import advice
from snapsim.scenario.loading import scene_from_text

SCENE = """
title = "Invented"
[[body]]
name = "winding"
shape = {{ kind = "{kind}", {sizes} }}
material = "{material}"
position = "0, 0, 0 mm"
fixed = true
{keys}
[[body]]
name = "nail"
shape = {{ kind = "cylinder", diameter = "4 mm", length = "40 mm" }}
material = "low-carbon steel"
position = "0, 0, -60 mm"
"""
RING = 'outer_diameter = "40 mm", inner_diameter = "20 mm", length = "10 mm"'
COIL = 'turns = 100\ncurrent = "2 A"'


def scene(keys=COIL, kind="ring", sizes=RING, material="copper winding"):
    text = SCENE.format(keys=keys, kind=kind, sizes=sizes, material=material)
    return scene_from_text(text, "s.toml")


def test_a_constant_current_and_back():
    body = scene().bodies[0]
    assert body.is_magnet
    assert not body.is_permanent
    assert body.coil.at(0) == body.coil.at(9) == 2.0
    assert body.magnetisation.tolist() == pytest.approx([0, 0, 100 * 2 / 0.01])
    again = scene_from_text(scene().resolved, "s.toml")
    assert again == scene()


def test_a_table_and_a_switch():
    keys = 'turns = 100\ncurrent = [["0 s", "1 A"], ["2 s", "3 A"]]\nswitch_off = "1 s"'
    coil = scene(keys).bodies[0].coil
    assert [coil.at(t) for t in (0.0, 0.5, 0.999999, 1.0, 5.0)] == pytest.approx(
        [1.0, 1.5, 2.0, 0.0, 0.0], abs=2e-6
    )
    assert scene_from_text(scene(keys).resolved, "s.toml") == scene(keys)


@pytest.mark.parametrize(
    ("given", "problem"),
    [
        ({"keys": "turns = 100"}, "winding: has turns and no current; a coil needs both"),
        ({"keys": 'current = "2 A"'}, "has current and no turns"),
        ({"keys": 'switch_off = "1 s"'}, "has a switch_off and is no coil"),
        ({"keys": 'turns = 0\ncurrent = "2 A"'}, r"winding\.turns: is 0; above 0"),
        ({"keys": 'turns = 100\ncurrent = "2 V"'}, r'winding\.current: .*"2 A"|no.* current'),
        ({"keys": "turns = 100\ncurrent = 2"}, r"winding\.current: .*has no unit"),
        (
            {"keys": 'turns = 100\ncurrent = [["1 s", "2 A"], ["0.5 s", "1 A"]]'},
            r"winding\.current: row 2: its time must not be before",
        ),
        ({"keys": 'turns = 100\ncurrent = [["1 s", "2 m"]]'}, r"row 1: "),
        ({"keys": "turns = 100\ncurrent = []"}, "has 0 rows; 1 to 1000"),
        ({"keys": 'turns = 1000\ncurrent = "9 kA"'}, r"current: makes some .* up to 100 T"),
        ({"material": "low-carbon steel"}, r"material: is .low-carbon steel.; a coil is wound of"),
        (
            {"kind": "cylinder", "sizes": 'diameter = "40 mm", length = "10 mm"'},
            r"turns: is given, but a cylinder is no coil's shape; a ring or a frame is",
        ),
    ],
)
def test_what_is_refused(given, problem):
    with pytest.raises(InputError, match=problem):
        scene(**given)


def test_check_says_what_is_left_out():
    said = " ".join(advice(scene('turns = 1000\ncurrent = "2 A"\nswitch_off = "1 s"')))
    assert "2000 ampere-turns, 20 A/mm^2" in said
    assert "above the 5 that one bears for long" in said
    assert "heating and its supply are not modelled" in said
    assert "the 2 A at release" in said


@pytest.mark.slow  # as plain Python
def test_what_looks_at_one_current_refuses_others_that_may_draw_harder():
    """A margin at the 0 A of the start would say that nothing ever snaps."""
    rising = scene('turns = 1000\ncurrent = [["0 s", "0 A"], ["1 s", "3 A"]]')
    with pytest.raises(InputError, match=r"winding\.current: changes after release"):
        snapsim.margin(rising, "nail")
    falling = scene('turns = 1000\ncurrent = "3 A"\nswitch_off = "1 s"')
    steady = scene('turns = 1000\ncurrent = "3 A"')
    one, other = (snapsim.force(s).force[1] for s in (falling, steady))
    assert np.array_equal(one, other)


def test_a_frame():
    """Volume and inertia of a frame, as those of its four bars."""
    from snapsim.parts.shapes import Compound, OpenFrame

    frame = OpenFrame((0.06, 0.03), 0.015, 0.025)
    bars = Compound(frame.pieces)
    assert frame.volume == pytest.approx(bars.volume)
    assert frame.gyration == pytest.approx(bars.gyration)
    assert frame.extents == pytest.approx(bars.extents)
    corners, triangles = frame.surface(8)
    p = corners[triangles]
    assert np.einsum("fi,fi->", p[:, 0], np.cross(p[:, 1], p[:, 2])) / 6 == pytest.approx(
        frame.volume
    )
