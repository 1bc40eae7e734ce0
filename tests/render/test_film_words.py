"""Words of a film keep their contrast over whatever they stand on (WCAG 2.2, 1.4.3)."""

import numpy as np
import pytest
from PIL import Image, ImageDraw, ImageFilter

from snapsim.render import palette
from snapsim.render.film_words import FilmWords, caution_rows, put_line, set_in, shade
from snapsim.render.layout import lay_out_film
from snapsim.render.lettering import font
from snapsim.render.lines import StoryLine
from snapsim.render.overlay import PlacedNote, _plate

ENOUGH = 4.5
"""Contrast that text of any size is to have (success criterion 1.4.3, level AA)."""

LINES = (
    StoryLine(0.0, 1.0, "", "79 mm from the magnet. Will it jump?"),
    StoryLine(0.0, 1.0, "7.6 J", "blank strikes magnet at 3.54 m/s"),
)


def luminance(picture):
    """Relative luminance (h, w) by the definition of WCAG 2.2."""
    share = np.asarray(picture.convert("RGB"), dtype=float) / 255
    linear = np.where(share <= 0.04045, share / 12.92, ((share + 0.055) / 1.055) ** 2.4)
    return linear @ [0.2126, 0.7152, 0.0722]


def beside(letters):
    """Where the picture borders on letters: one or two pixels off their edges."""
    near = np.asarray(letters.filter(ImageFilter.MaxFilter(5))) > 0
    on = np.asarray(letters.filter(ImageFilter.MaxFilter(3))) > 0
    return near & ~on


@pytest.mark.parametrize("size", [(1280, 720), (640, 360), (720, 1280), (720, 720)])
@pytest.mark.parametrize("line", LINES, ids=["question", "number"])
def test_words_over_the_palest_magnet_keep_their_contrast(size, line):
    layout = lay_out_film(*size)
    words = FilmWords(layout, shown=frozenset({"stage", "words", "caution"}))
    frame = Image.new("RGB", size, palette.NORTH)
    words.show(frame, line, "1/100 of real time")
    letters = Image.new("L", size, 0)
    put_line(ImageDraw.Draw(letters), layout, line, 255)
    ground = luminance(frame)[beside(letters)]
    ink = palette.relative_luminance(palette.INK)
    assert ((ink + 0.05) / (ground + 0.05)).min() >= ENOUGH


@pytest.mark.parametrize("size", [(1280, 720), (640, 360), (720, 1280)])
def test_the_caution_over_the_palest_magnet_keeps_its_contrast(size):
    layout = lay_out_film(*size)
    words = FilmWords(layout, shown=frozenset({"stage", "words", "caution"}))
    frame = Image.new("RGB", size, palette.NORTH)
    words.show(frame, None, "")
    letters = Image.new("L", size, 0)
    words._put_caution(ImageDraw.Draw(letters), 255)
    ground = luminance(frame)[beside(letters)]
    ink = palette.relative_luminance(palette.INK_SOFT)
    assert ((ink + 0.05) / (ground + 0.05)).min() >= ENOUGH


@pytest.mark.parametrize("size", [(1920, 1080), (1280, 720), (640, 360), (720, 1280), (720, 720)])
@pytest.mark.parametrize("line", LINES, ids=["question", "number"])
def test_all_words_can_be_read_on_a_phone(size, line):
    """14 pixels on a picture 390 wide: the issue's bound; no standard says one."""
    layout = lay_out_film(*size)
    assert layout.least * 390 / size[0] >= 14
    left, top, right, bottom = layout.words
    rows = set_in(line, right - left, bottom - top, layout.unit, layout.least)
    assert min(row.points for row in rows) >= layout.least
    caution = caution_rows(layout)
    assert caution[0].startswith("Computed, not a")
    widest = max(font(layout.least).getlength(row) for row in caution)
    assert widest <= layout.caution[2] - layout.caution[0]
    assert layout.caution[1] >= bottom
    assert layout.caution[1] + len(caution) * 1.25 * layout.least <= size[1]


def test_a_caution_with_room_is_told_whole():
    assert len(" ".join(caution_rows(lay_out_film(720, 1280)))) > 90


def test_the_shade_is_only_round_the_letters():
    size = (1280, 720)
    letters = Image.new("L", size, 0)
    put_line(ImageDraw.Draw(letters), lay_out_film(*size), LINES[1], 255)
    made = shade(letters, 6, 9)
    assert np.asarray(made.mask).max() > 220
    assert made.box[2] < 0.6 * size[0]
    assert np.asarray(made.mask)[:, -1].max() == 0
    assert shade(Image.new("L", size, 0), 6, 9) is None


@pytest.mark.parametrize("size", [(1280, 720), (640, 360), (720, 1280)])
@pytest.mark.parametrize("across", [0.05, 0.45, 0.7, 0.99])
def test_a_note_never_stands_where_the_words_do(size, across):
    layout = lay_out_film(*size)
    note = PlacedNote("a finger: 0 mm", palette.INK, (across * size[0], 0.5 * size[1]), 20.0)
    left, top, right, bottom = _plate(layout, note, (round(0.2 * size[0]), 40), [])
    beyond = left >= layout.words[2] or top >= layout.words[3]
    assert beyond
    assert (right <= size[0], bottom <= size[1]) == (True, True)
