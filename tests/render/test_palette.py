"""Colours: contrast by the WCAG 2.2 formula (definitions and thresholds cited in the module)."""

import pytest

from snapsim.parts.materials import Material
from snapsim.render import palette as p


def test_contrast_ratio_agrees_with_known_values():
    """21:1 for white on black is WCAG's own range; #767676 on white is the well-known darkest-grey
    example of 4.54:1, just above the 4.5:1 of success criterion 1.4.3 (from memory)."""
    assert p.contrast_ratio("#FFFFFF", "#000000") == pytest.approx(21.0)
    assert p.contrast_ratio("#767676", "#FFFFFF") == pytest.approx(4.54, abs=0.005)
    assert p.contrast_ratio("#123456", "#123456") == pytest.approx(1.0)


def test_poles_differ_in_lightness_far_beyond_the_threshold_for_graphics():
    """1.4.11 asks 3:1; the hatch must not blur it: even its stripes stay dark beside the north."""
    assert p.contrast_ratio(p.NORTH, p.SOUTH) > 7
    assert p.contrast_ratio(p.NORTH, p.SOUTH_HATCH) > 3


def test_hatch_and_letters_can_be_seen_on_their_grounds():
    assert p.contrast_ratio(p.SOUTH_HATCH, p.SOUTH) > 3
    assert p.contrast_ratio(p.NORTH_LETTER, p.NORTH) > 7
    assert p.contrast_ratio(p.SOUTH_LETTER, p.SOUTH) > 7


def test_words_can_be_read_on_their_panels():
    """1.4.3 asks 4.5:1 of text; small print included."""
    for ink, ground in (
        (p.INK, p.PANEL),
        (p.INK_SOFT, p.PANEL),
        (p.INK_SOFT, p.BACKDROP_LOW),
        (p.ACCENT_INK, p.ACCENT),
        (p.PANEL, p.INK),
        (p.INK, p.BACKDROP_HIGH),
        (p.ACCENT, p.BACKDROP_LOW),
        *((note, p.PANEL) for note in (p.VELOCITY, p.FORCE, p.TORQUE, p.GAP_LINE)),
        *((note, p.PANEL) for note in (p.HAND_OPEN, p.HAND_CLOSED)),
    ):
        assert p.contrast_ratio(ink, ground) > 4.5


def test_bars_curves_and_lines_can_be_told_from_their_panel():
    """1.4.11 asks 3:1 of graphics."""
    bars = (p.BAR_FIELD, p.BAR_MOTION, p.BAR_LIFTED, p.BAR_LOST)
    for colour in (*bars, p.CURVE_FAINT, p.TRAIL, p.FIELD_LINE):
        assert p.contrast_ratio(colour, p.PANEL) > 3


def test_materials_get_their_own_look():
    looks = {
        name: p.look_of(Material(name, 1000.0))
        for name in ("grey cast iron", "430 stainless", "oak", "acrylic", "aluminium", "copper")
    }
    assert len(set(looks.values())) == len(looks)
    assert looks["acrylic"].opacity < 0.5
    assert looks["oak"].opacity == 1
