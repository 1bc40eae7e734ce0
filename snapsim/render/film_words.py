"""Words of a film over its picture: a number, a sentence, how fast time runs, a quiet caution.

Sizes are those of a picture of 720 lines. What does not change in a shot is drawn once.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np
from PIL import Image, ImageDraw, ImageFilter
from scipy.ndimage import maximum_filter

from snapsim.render import ember, palette
from snapsim.render.interpolation import Moment
from snapsim.render.layout import PictureLayout, scaled
from snapsim.render.lettering import fitted, font, weighted, wrapped
from snapsim.render.lines import StoryLine
from snapsim.render.overlay import PlacedNote, put_notes
from snapsim.render.panels.contract import Panel
from snapsim.render.typeface import Weight

NUMBER, SENTENCE, QUESTION, LABEL = 112.0, 56.0, 69.0, 30.0
CAUTIONS = (
    (
        "Computed, not a permission.",
        "Strong magnets crush and shatter.",
        "Local rules and qualified people decide.",
    ),
    ("Computed, not a permission.", "Magnets crush."),
    ("Computed, not a permission.",),
)
"""The caution, ever shorter: said is the longest that fits its place in type for a phone. The whole
of it stands on the last card."""
DARKEST = 150  # of 255: the scrim behind words, where it is darkest
SHADE = 235  # of 255: how much darker it gets round letters that stand over something pale


@dataclass(frozen=True)
class Set:
    """Lines of type: text, size in pixels, weight."""

    text: str
    points: int
    weight: Weight


class FilmWords:
    """Sets the words of a film; `heading` tells runs abreast apart, `alarm` says what is wrong with
    a run, `panels` stand beside them, `counts` are lines of a key
    (words, colour), `scale` is the top of the colours of polarisation [T], 0
    where none are shown."""

    def __init__(
        self,
        layout: PictureLayout,
        *,
        shown: frozenset[str],
        heading: str = "",
        alarm: str | None = None,
        scale: float = 0.0,
        panels: Sequence[Panel] = (),
        counts: Sequence[tuple[str, str]] = (),
    ) -> None:
        self.layout, self._shown, self._panels = layout, shown, panels
        self._still = Image.new("RGBA", layout.size, (0, 0, 0, 0))
        if "stage" in shown and shown & {"words", "caution"}:
            self._still.paste(palette.BACKDROP_LOW, (0, 0, *layout.size))
            self._still.putalpha(scrim(layout))
        pen = ImageDraw.Draw(self._still)
        self._lasting = self._what_lasts(heading, scale > 0)
        if "stage" in shown:
            self._shade_lasting()
        for put in self._lasting:
            put(pen)
        if "words" in shown and scale > 0:
            self._put_colours(pen)
        if counts:
            self._put_counts(pen, counts, scale > 0)
        for panel in panels:
            panel.still(pen)
        if alarm:
            self._put_alarm(pen, alarm)
        self._box = self._still.getbbox()
        self._laid = self._still.crop(self._box) if self._box else None
        self._shades: dict[StoryLine | str | None, PlacedShade | None] = {}

    def _u(self, size: float) -> int:
        return scaled(self.layout.unit, size)

    @property
    def _label(self) -> int:
        """Size of small type."""
        return max(self._u(LABEL), self.layout.least)

    def show(
        self,
        frame: Image.Image,
        line: StoryLine | None,
        pace: str,
        notes: Sequence[PlacedNote] = (),
        moment: Moment | None = None,
    ) -> None:
        """Set the words onto `frame`, in place."""
        if self._laid is not None and self._box is not None:
            if frame.mode == "RGBA":
                frame.alpha_composite(self._laid, self._box[:2])
            else:
                frame.paste(self._laid.convert("RGB"), self._box[:2], self._laid.getchannel("A"))
        pen = ImageDraw.Draw(frame)
        put_notes(pen, self.layout, notes)
        if moment is not None:
            for panel in self._panels:
                panel.show(pen, moment)
        if "words" not in self._shown:
            return
        if "stage" in self._shown:
            self._shade(frame, line, pace)
        self._put_pace(pen, pace, palette.INK_SOFT)
        if line is not None:
            put_line(pen, self.layout, line)

    def _put_pace(self, pen: ImageDraw.ImageDraw, pace: str, ink: str | int) -> None:
        if pace:
            left, top, right, _ = self.layout.pace
            text, size = fitted(pace, right - left, self._label)
            pen.text((left, top), text, ink, font(size), anchor="la")

    def _shade(self, frame: Image.Image, line: StoryLine | None, pace: str) -> None:
        """Darken the picture round the letters that are to come, made once a line and once a pace:
        while time is eased the pace is another in every frame."""
        for put in (line, pace):
            if put not in self._shades:
                letters = Image.new("L", self.layout.size, 0)
                pen = ImageDraw.Draw(letters)
                if isinstance(put, str):
                    self._put_pace(pen, put, 255)
                elif put is not None:
                    put_line(pen, self.layout, put, 255)
                self._shades[put] = shade(letters, self._u(6), self._u(9))
            made = self._shades[put]
            if made is not None:
                frame.paste(palette.BACKDROP_LOW, made.box, made.mask)

    def _what_lasts(self, heading: str, scaled_too: bool) -> list[Callable[..., None]]:
        """What sets the words that stay the same through a shot, each in an ink or its own."""
        found: list[Callable[..., None]] = []
        if "caution" in self._shown:
            found.append(self._put_caution)
        if "words" in self._shown and heading:
            found.append(partial(self._put_heading, heading=heading))
        if "words" in self._shown and scaled_too:
            found.append(self._put_scale)
        return found

    def _shade_lasting(self) -> None:
        """Darken what those stand on: they are always there."""
        for put in self._lasting:
            letters = Image.new("L", self.layout.size, 0)
            put(ImageDraw.Draw(letters), ink=255)
            made = shade(letters, self._u(9), self._u(7))
            if made is None:
                continue
            there = np.asarray(self._still.getchannel("A").crop(made.box))
            darker = Image.fromarray(np.maximum(there, np.asarray(made.mask)), "L")
            ground = Image.new("RGB", darker.size, palette.BACKDROP_LOW)
            self._still.paste(Image.merge("RGBA", (*ground.split(), darker)), made.box)

    def _put_caution(self, pen: ImageDraw.ImageDraw, ink: str | int = palette.INK_SOFT) -> None:
        (left, top, _, _), size = self.layout.caution, self.layout.least
        for k, text in enumerate(caution_rows(self.layout)):
            pen.text((left, top + round(k * 1.25 * size)), text, ink, font(size), anchor="la")

    def _put_heading(
        self, pen: ImageDraw.ImageDraw, heading: str, ink: str | int = palette.INK
    ) -> None:
        left, top, right, bottom = self.layout.title
        size = max(self._u(34), self.layout.least)
        lines = wrapped(heading, right - left, size, True)
        while len(lines) * 1.15 * size > bottom - top and size > self.layout.least:
            size -= 1
            lines = wrapped(heading, right - left, size, True)
        for k, text in enumerate(lines[:2]):
            told, points = fitted(text, right - left, size, True)
            y = top + round(k * 1.15 * size)
            pen.text((left, y), told, ink, font(points, True), anchor="la")

    def _put_scale(self, pen: ImageDraw.ImageDraw, ink: str | int = palette.INK_SOFT) -> None:
        """The ends of the colours of magnetisation, from nothing to the material's saturation."""
        left, _, right, bottom = self.layout.key
        size = self._label
        for x, text, anchor in ((left, "magnetised", "ls"), (right, "full", "rs")):
            pen.text((x, bottom - self._u(14)), text, ink, font(size), anchor=anchor)

    def _put_colours(self, pen: ImageDraw.ImageDraw) -> None:
        """These colours, below the words for them."""
        left, _, right, bottom = self.layout.key
        colours = ember.as_bytes(right - left)
        for x, (r, g, b) in zip(range(left, right), colours, strict=True):
            pen.line((x, bottom - self._u(8), x, bottom), (r, g, b, 255))

    def _put_counts(
        self, pen: ImageDraw.ImageDraw, counts: Sequence[tuple[str, str]], scaled_too: bool
    ) -> None:
        """What became of the runs of an ensemble, each by its colour and its number, on a plate."""
        _, _, right, bottom = self.layout.key
        size, pad = self._label, self._u(12)
        face, step = font(size, True), round(1.3 * size)
        wide = int(max(face.getlength(text) for text, _ in counts)) + size + 3 * pad
        floor = bottom - (round(2.2 * size) if scaled_too else 0)
        top = floor - len(counts) * step - pad
        pen.rounded_rectangle((right - wide, top, right, floor), pad, fill=palette.PANEL)
        for k, (text, colour) in enumerate(counts):
            y = top + pad / 2 + (k + 0.5) * step
            left = right - wide + pad
            pen.line((left, y, left + size, y), colour, max(2, size // 6))
            pen.text((left + size + pad, y), text, palette.INK, face, anchor="lm")

    def _put_alarm(self, pen: ImageDraw.ImageDraw, alarm: str) -> None:
        """A band right across of a run that is not to be relied on."""
        (wide, _), top = self.layout.size, self.layout.scene[1]
        size, edge = self._label, self._u(32)
        lines = wrapped(alarm, wide - 2 * edge, size, True)
        step = round(1.3 * size)
        tall = self._u(16) + len(lines) * step
        pen.rectangle((0, top, wide, top + tall), (*palette.rgb(palette.ALARM), 255))
        for k, text in enumerate(lines):
            y = top + self._u(8) + k * step
            pen.text((edge, y), text, palette.ALARM_LETTER, font(size, True))


@dataclass(frozen=True)
class PlacedShade:
    """How much darker (mode L) a box of the picture gets."""

    box: tuple[int, int, int, int]
    mask: Image.Image


def shade(letters: Image.Image, reach: int, blur: int) -> PlacedShade | None:
    """Return the shade round letters (mode L): as dark as `SHADE` within `reach` pixels of them and
    fading beyond; None where there are none."""
    inner = letters.getbbox()
    if inner is None:
        return None
    room = 2 * (reach + 2 * blur)
    w, h = letters.size
    box = (
        max(inner[0] - room, 0),
        max(inner[1] - room, 0),
        min(inner[2] + room, w),
        min(inner[3] + room, h),
    )
    near = maximum_filter(np.asarray(letters.crop(box)), 2 * (reach + blur) + 1, mode="nearest")
    soft = Image.fromarray(near, "L").filter(ImageFilter.GaussianBlur(blur))
    return PlacedShade(box, soft.point([round(SHADE * k / 255) for k in range(256)]))


def put_line(
    pen: ImageDraw.ImageDraw,
    layout: PictureLayout,
    line: StoryLine,
    ink: str | int = palette.INK,
) -> None:
    """Set a number and its sentence, or a question, into the box for them."""
    left, top, right, bottom = layout.words
    rows = set_in(line, right - left, bottom - top, layout.unit, layout.least)
    y = top + (0 if layout.top_words else (bottom - top - _height(rows)) // 2)
    for row in rows:
        pen.text((left, y), row.text, ink, weighted(row.points, row.weight), anchor="la")
        y += _step(row)


def scrim(layout: PictureLayout) -> Image.Image:
    """Return how much darker the picture gets where words stand, softly bordered (mode L)."""
    w, h = layout.size
    if layout.top_words:
        along = np.arange(h, dtype=float)
        top = 1 - along / max(layout.words[3] * 1.25, 1)
        low = (along - layout.caution[1] + layout.unit * 60) / (layout.unit * 110)
        shade = np.clip(np.maximum(top, low), 0, 1)[:, None] * np.ones((1, w))
    else:
        shade = np.clip(1 - np.arange(w) / max(layout.words[2] * 1.15, 1), 0, 1)[None, :]
        shade = shade * np.ones((h, 1))
    soft = shade * shade * (3 - 2 * shade)
    return Image.fromarray(np.round(DARKEST * soft).astype(np.uint8), "L")


def set_in(line: StoryLine, width: int, height: int, unit: float, least: int = 1) -> list[Set]:
    """Return a number and its sentence, or a question, in lines that fit a box [pixels]; none is
    smaller than `least` [pixels] where they fit at all so."""
    for floor in (least, 1):
        for share in np.linspace(1.0, 0.45, 23):
            rows = []
            if line.number:
                size = max(scaled(unit, NUMBER * share), floor)
                rows.append(Set(line.number, size, Weight.HEAVY))
            size = max(scaled(unit, (SENTENCE if line.number else QUESTION) * share), floor)
            rows += [Set(t, size, Weight.PLAIN) for t in wrapped(line.sentence, width, size)]
            widest = max(weighted(r.points, r.weight).getlength(r.text) for r in rows)
            if widest <= width and _height(rows) <= height:
                return rows
    return rows


def caution_rows(layout: PictureLayout) -> list[str]:
    """Return the longest caution that fits its place, in lines."""
    left, top, right, bottom = layout.caution
    for sentences in CAUTIONS:
        rows = [row for text in sentences for row in wrapped(text, right - left, layout.least)]
        if round(len(rows) * 1.25 * layout.least) <= bottom - top:
            break
    return rows


def _step(row: Set) -> int:
    return round(row.points * (1.12 if row.weight == Weight.HEAVY else 1.22))


def _height(rows: Sequence[Set]) -> int:
    return sum(_step(row) for row in rows)
