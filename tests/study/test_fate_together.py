"""Fates of several parts let go together: the worst is told, and whose it is."""

import pytest

from snapsim.errors import InputError
from snapsim.scenario.loading import scene_from_text
from snapsim.scenario.spans import read_span
from snapsim.simulation.fate import FateKind
from snapsim.study.fate_map import Slice, fate_at
from snapsim.study.fate_together import WORST_FIRST, drawn_parts, fate_together

BALLS = """
title = "Two balls on a table, 300 mm apart, each with a magnet above"
[[body]]
name = "left magnet"
shape = { kind = "cylinder", diameter = "40 mm", length = "30 mm" }
material = "NdFeB N45"
magnetised = "z"
position = "-150, 0, 120 mm"
fixed = true
[[body]]
name = "right magnet"
shape = { kind = "cylinder", diameter = "40 mm", length = "30 mm" }
material = "NdFeB N45"
magnetised = "z"
position = "150, 0, 120 mm"
fixed = true
[[body]]
name = "left"
shape = { kind = "sphere", diameter = "20 mm" }
material = "grey cast iron"
position = "-150, 0, 10 mm"
[[body]]
name = "right"
shape = { kind = "sphere", diameter = "20 mm" }
material = "grey cast iron"
position = "150, 0, 10 mm"
[[body]]
name = "table"
shape = { kind = "box", size = "600 x 300 x 20 mm" }
material = "oak"
position = "0, 0, -10 mm"
fixed = true
[run]
detail = "draft"
duration = "0.1 s"
"""


def fate_with(*changes):
    scene = scene_from_text(BALLS, "balls.toml", changes)
    return fate_together(scene, drawn_parts(scene))


@pytest.mark.parametrize("side", ["left", "right"])
def test_the_part_that_snaps_is_told_whichever_it_is(side):
    found = fate_with(f'body."{side} magnet".position.z="55 mm"')
    assert (found.kind, found.part, found.struck) == (FateKind.SNAPS, side, f"{side} magnet")


def test_parts_that_do_not_snap_are_not_said_to():
    """No more is known of balls: they may roll on."""
    assert fate_with().kind in (FateKind.STAYS, FateKind.UNDECIDED)


def test_a_part_at_the_magnet_from_the_start_hides_no_snap_of_the_other():
    at_left = 'body.left.position.z="95 mm"'
    assert fate_with(at_left).kind in (FateKind.STAYS, FateKind.UNDECIDED)
    snaps = fate_with(at_left, 'body."right magnet".position.z="55 mm"')
    assert (snaps.kind, snaps.part) == (FateKind.SNAPS, "right")


def test_a_point_of_a_map_is_of_all_parts_and_several_keys_go_together():
    spans = [
        read_span(text, "--first")
        for text in (
            "body.left magnet.position.z=120..55 mm and body.right magnet.position.z=120..119 mm",
            "contact.friction=0.2..0.3",
        )
    ]
    given = Slice(BALLS, "balls.toml", *spans, 1.0, columns=1, rows=1, together=True)
    assert fate_at(given, (0, 0)).kind is not FateKind.SNAPS
    assert fate_at(given, given.size).part == "left"


def test_a_lone_part_is_not_together():
    alone = BALLS.replace('[[body]]\nname = "right"', '[[body]]\nfixed = true\nname = "right"')
    with pytest.raises(InputError, match="two free bodies"):
        drawn_parts(scene_from_text(alone, "alone.toml", ()))


def test_every_fate_after_a_release_has_its_rank():
    """What never comes of a release: a part at the magnet before it, and no room."""
    assert set(WORST_FIRST) == set(FateKind) - {FateKind.TOUCHES, FateKind.NO_ROOM}
