"""Places for words and figures, worked out from the picture's size alone, so that nothing is cut
off in landscape, square or portrait."""

from __future__ import annotations

import functools
import math
from dataclasses import dataclass
from typing import Final

from snapsim.render.camera import Margins

PHONE: Final = 14 / 390
"""Smallest type over the width of a picture: 14 pixels on a phone that is 390 wide."""
PANE: Final = 1.4
"""How much larger than so the type of runs abreast is, whose panes are narrower."""
PixelBox = tuple[int, int, int, int]
"""Left, top, right, bottom [pixels]."""


@dataclass(frozen=True)
class PictureLayout:
    """Places in pixels: `unit` is the size of one 720th of the picture's useful height.

    `cells` hold the readings in reading order, `title`, `pace`, `impact`, `scale`, `key` and
    `caution` one box each, `panels` those asked for: at the right, or above the key where the
    picture is not wide; `least` is the smallest type of a film [pixels].
    """

    size: tuple[int, int]
    unit: float
    title: PixelBox
    pace: PixelBox
    impact: PixelBox
    cells: tuple[PixelBox, ...]
    scale: PixelBox
    key: PixelBox
    caution: PixelBox
    panels: tuple[PixelBox, ...] = ()
    words: PixelBox = (0, 0, 0, 0)
    room: PixelBox | None = None
    top_words: bool = False
    least: int = 1

    @property
    def wide(self) -> bool:
        """Is the picture so wide that panels stand beside the scene?"""
        return _wide(*self.size)

    @property
    def scene(self) -> PixelBox:
        """The box that words leave to the scene."""
        if self.room is not None:
            return self.room
        floor = min([self.key[1], *(box[1] for box in self.panels if not self.wide)])
        side = min([self.size[0], *(box[0] for box in self.panels if self.wide)])
        return 0, self.impact[3], side, floor

    @property
    def margins(self) -> Margins:
        """Shares of the picture that the scene must leave to the words."""
        (w, h), (left, top, side, floor) = self.size, self.scene
        if self.room is not None:
            return Margins(left / w, 1 - side / w, top / h, 1 - floor / h)
        right = 0.05 if side == w else 1 - side / w + 0.015
        return Margins(0.05, right, top / h + 0.015, 1 - floor / h + 0.015)


def _wide(width: int, height: int) -> bool:
    return width >= 1.25 * height


def lay_out(width: int, height: int, panels: int = 0) -> PictureLayout:
    """Return the places for a picture of this size: one row of readings, or two rows of two."""
    wide = _wide(width, height)
    unit = min(width / 1280, height / 720) if wide else min(width / 760, height / 760)
    u = functools.partial(scaled, unit)
    edge, gap = u(24), u(12)
    columns, cell = (4 if width >= 0.9 * height else 2), u(86)
    rows = 4 // columns
    caution_top = height - edge - u(20 if wide else 46)
    bottom = caution_top - u(10)
    top = bottom - rows * cell - (rows - 1) * gap
    cells = _grid((edge, top), (width - 2 * edge, cell), (rows, columns), gap)
    pace_top = edge if wide else edge + u(48)
    pace_left = width - edge - u(330) if wide else edge
    head = edge + u(46)
    blow_top = head + u(6) if wide else pace_top + u(52)
    key_top = top - u(44)
    return PictureLayout(
        size=(width, height),
        unit=unit,
        title=(edge, edge, (pace_left if wide else width) - edge, head),
        pace=(pace_left, pace_top, pace_left + u(330), pace_top + u(44)),
        impact=(edge, blow_top, width - edge, blow_top + u(44)),
        cells=cells,
        scale=(width - edge - u(330), key_top, width - edge, key_top + u(36)),
        key=(edge, key_top, width - edge - u(340), key_top + u(36)),
        caution=(edge, caution_top, width - edge, height - u(14)),
        panels=_panels(width, wide, blow_top, key_top, unit, panels),
    )


def _grid(
    corner: tuple[int, int], row: tuple[int, int], count: tuple[int, int], gap: int
) -> tuple[PixelBox, ...]:
    """Boxes of rows and columns from a corner on; `row` is how wide and high a whole row is."""
    (left, top), (wide, high), (rows, columns) = corner, row, count
    each = (wide - (columns - 1) * gap) // columns
    places = [
        (left + c * (each + gap), top + r * (high + gap))
        for r in range(rows)
        for c in range(columns)
    ]
    return tuple((x, y, x + each, y + high) for x, y in places)


def lay_out_film(
    width: int, height: int, *, heading: bool = False, panel: bool = False
) -> PictureLayout:
    """Return the places for a film: words left of the scene where the picture is wide, else above
    it; `heading` leaves two lines for what tells runs abreast apart; a `panel` stands below the
    words, the caution is then the shorter."""
    wide, tall = _wide(width, height), height >= 1.5 * width
    unit = min(width / 1280, height / 720) if wide else min(width / 760, height / 760)
    u = functools.partial(scaled, unit)
    least = math.ceil(PHONE * width * (PANE if heading else 1.0))
    label = max(u(30), least)
    edge = round(0.05 * width)
    head = edge if wide else round((0.07 if tall else 0.04) * height)
    right = round(0.37 * width) if wide else width - edge
    pace = head + (round(2.5 * label) if heading else 0)
    top = pace + round(1.4 * label)
    cautioned = math.ceil((2 if panel and wide else 3) * 1.25 * least)
    low = round((0.80 if tall else 0.97) * height) - cautioned
    below = low - u(12)
    words = edge, top, right, below if wide else top + round(0.24 * height)
    under_words: tuple[PixelBox, ...] = ()
    if panel:
        cut = top + round((0.6 if wide else 0.45) * (words[3] - top))
        under_words = ((edge, cut + u(8), right, words[3]),)
    aside = round(0.42 * width), round(0.03 * height), round(0.97 * width), round(0.95 * height)
    under, key_floor = (
        (edge, words[3], width - edge, below),
        round(0.95 * height) if wide else below,
    )
    key_left = width - edge - max(u(300), round(14 * label))
    return PictureLayout(
        size=(width, height),
        unit=unit,
        title=(edge, head, right, head + round(2.4 * label)),
        pace=(edge, pace, right, pace + round(1.3 * label)),
        impact=(edge, top, right, top),
        cells=(),
        scale=(key_left, key_floor - u(92), width - edge, key_floor - u(56)),
        key=(key_left, key_floor - u(52), width - edge, key_floor),
        caution=(edge, low, right, low + cautioned),
        panels=under_words,
        words=(*words[:3], under_words[0][1] - u(8)) if under_words else words,
        room=aside if wide else under,
        top_words=not wide,
        least=least,
    )


def _panels(
    width: int, wide: bool, blow_top: int, key_top: int, unit: float, count: int
) -> tuple[PixelBox, ...]:
    """Return the boxes of `count` panels, none overlapping the announcement of a blow."""
    u = functools.partial(scaled, unit)
    edge, gap = u(24), u(12)
    if wide or count == 0:
        tall = u(156)
        first = blow_top + u(44) + gap
        left = width - edge - u(290)
        tops = [first + k * (tall + gap) for k in range(count)]
        return tuple((left, top, width - edge, top + tall) for top in tops)
    each = (width - 2 * edge - (count - 1) * gap) // count
    lefts = [edge + k * (each + gap) for k in range(count)]
    return tuple((left, key_top - u(8) - u(150), left + each, key_top - u(8)) for left in lefts)


def scaled(unit: float, pixels: float) -> int:
    """Return a length of the design, made for 720 lines, in pixels of the picture."""
    return max(1, round(unit * pixels))
