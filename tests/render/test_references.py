"""Frames against stored pictures that were looked at, by a perceptual difference (see there)."""

import importlib.util
from pathlib import Path

import pytest
from PIL import Image, ImageDraw

PATH = Path(__file__).parents[1] / "references" / "pictures.py"
SPEC = importlib.util.spec_from_file_location("pictures", PATH)
pictures = importlib.util.module_from_spec(SPEC)
SPEC.loader.exec_module(pictures)

MEAN, WORST = 1.0, 12.0
"""Mean Delta E*ab below half of what is just noticeable; in 1 pixel of 100 more, for edges that
another rasteriser draws a hair aside."""


def test_every_frame_looks_as_stored(trajectory, drawing):
    for name, picture in pictures.draw(trajectory):
        with Image.open(pictures.FOLDER / f"{name}.png") as stored:
            mean, worst = pictures.difference(picture, stored)
        assert (name, mean) <= (name, MEAN)
        assert (name, worst) <= (name, WORST)


def test_the_difference_is_known_for_known_colours():
    """L* of mid grey #777777 is 50.0, white 100, black 0 (CIE 15; from memory)."""
    white, grey, black = (Image.new("RGB", (4, 4), c) for c in ("#FFFFFF", "#777777", "#000000"))
    assert pictures.difference(white, black)[0] == pytest.approx(100.0, abs=0.05)
    assert pictures.difference(white, grey)[0] == pytest.approx(50.0, abs=0.1)
    assert pictures.difference(grey, grey) == (0.0, 0.0)


def gone_from(picture):
    """The picture with the part painted over in the backdrop's colour."""
    gone = picture.copy()
    ImageDraw.Draw(gone).rectangle((190, 20, 350, 258), "#22302D")
    return gone


def test_a_part_a_little_aside_or_missing_is_noticed():
    with Image.open(pictures.FOLDER / "impact.png") as stored:
        stored = stored.convert("RGB")
    aside = stored.copy()
    aside.paste(stored.crop((180, 16, 360, 262)), (183, 16))
    for changed in (aside, gone_from(stored)):
        mean, worst = pictures.difference(stored, changed)
        assert mean > MEAN or worst > WORST
