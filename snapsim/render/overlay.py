"""Words and figures over the picture, set by `pillow` at the final resolution.

What does not change in a clip is drawn once; places come from `layout`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from PIL import Image, ImageDraw

from snapsim.render import ember, palette
from snapsim.render.interpolation import Moment
from snapsim.render.layout import PictureLayout, PixelBox, scaled
from snapsim.render.lettering import fitted, font, wrapped
from snapsim.render.panels.contract import Panel
from snapsim.render.readings import Reading

CAUTION = (
    "Computed, not a permission: strong magnets crush and shatter, results vary; "
    "local rules and qualified people decide."
)
NOTE = 0.34  # of the picture's width: the widest line of a note
LONG = 0.15  # of it: a long note
STEPS = tuple(m * 10.0**e for e in range(-4, 2) for m in (1, 2, 5))


def scale_bar(pixels_per_metre: float, room: int) -> tuple[float, str]:
    """Return the longest tidy length [m] whose bar fits `room` pixels, and its words."""
    fitting = [s for s in STEPS if s * pixels_per_metre <= room]
    length = fitting[-1] if fitting else STEPS[0]
    return length, f"{1e3 * length:g} mm" if length < 1 else f"{length:g} m"


@dataclass(frozen=True)
class PlacedNote:
    """Words in a colour about a `place` (x, y) in the picture; `aside` pixels are kept free."""

    text: str
    colour: str
    place: tuple[float, float]
    aside: float


def _meet(a: PixelBox, b: PixelBox) -> bool:
    return a[0] < b[2] and b[0] < a[2] and a[1] < b[3] and b[1] < a[3]


def put_notes(pen: ImageDraw.ImageDraw, layout: PictureLayout, notes: Sequence[PlacedNote]) -> None:
    """Set words aside of their places, on plates, with a line to what they are about."""
    u, plates = layout.unit, list[PixelBox]()
    size = max(scaled(u, 21), layout.least)
    face, step, room = font(size, True), round(1.2 * size), round(NOTE * layout.size[0])
    told = [wrapped(note.text, room, size, True) for note in notes]
    for note, lines in zip(notes, told, strict=True):
        wide = int(max(face.getlength(line) for line in lines)) + scaled(u, 14)
        tall = len(lines) * step + scaled(u, 5)
        plates.append(_plate(layout, note, (wide, tall), plates))
    for note, box in zip(notes, plates, strict=True):
        if note.aside > 0:
            end = (box[0] if box[0] > note.place[0] else box[2], (box[1] + box[3]) / 2)
            pen.line((*note.place, *end), note.colour, max(1, scaled(u, 2)))
    for note, lines, box in zip(notes, told, plates, strict=True):
        pen.rounded_rectangle(box, scaled(u, 7), fill=palette.PANEL)
        middle = (box[1] + box[3]) / 2 - (len(lines) - 1) * step / 2
        for k, line in enumerate(lines):
            place = box[0] + scaled(u, 7), middle + k * step
            pen.text(place, line, note.colour, face, anchor="lm")


def _plate(
    layout: PictureLayout, note: PlacedNote, size: tuple[int, int], taken: list[PixelBox]
) -> PixelBox:
    """The plate (width, height) of a note: right of its place, or left where there is no room,
    never over another, nor outside of what words leave to the scene; what is long stands above its
    place, as it would hide what it is about."""
    u, (wide, tall) = layout.unit, size
    (near, low, side, high), (x, y) = layout.scene, note.place
    off = note.aside + scaled(u, 10)
    left = x + off
    if left + wide > side - 4 and x - off - wide > near + 4:
        left = x - off - wide
    left = int(max(min(left, side - wide - 4), near + 4))
    long = note.aside > 0 and wide > LONG * layout.size[0]
    middle = y - (0.5 * tall + 2 * off if long else 0.0)
    top = int(min(max(middle - tall / 2, low), high - tall))
    way = 1 if top < (low + high) / 2 else -1
    while any(_meet((left, top, left + wide, top + tall), box) for box in taken):
        top += way * scaled(u, 3)
    return left, top, left + wide, top + tall


class ClipOverlay:
    """Draws the words of a clip: `still` once, then `show` on every frame."""

    def __init__(
        self,
        layout: PictureLayout,
        title: str,
        pixels_per_metre: float,
        *,
        magnets: bool,
        top_polarisation: float,
        arrows: bool = True,
        figures: bool = True,
        panels: Sequence[Panel] = (),
        warning: str | None = None,
    ) -> None:
        self.layout = layout
        self._still = Image.new("RGBA", layout.size, (0, 0, 0, 0))
        self._put_scrim()
        pen = ImageDraw.Draw(self._still)
        self._put_title(pen, title)
        self._put_caution(pen)
        if warning:
            self._put_warning(pen, warning)
        self._put_scale(pen, pixels_per_metre)
        left = self._put_pole_key(pen) if magnets else layout.key[0]
        if top_polarisation > 0:
            self._put_polarisation_key(pen, left, top_polarisation, arrows)
        self._panels = panels
        self._put_boxes(pen, figures)
        colours, mask = self._still.convert("RGB"), self._still.getchannel("A")
        self._strips = [(box[:2], colours.crop(box), mask.crop(box)) for box in self._covered(mask)]

    def _u(self, pixels: float) -> int:
        return scaled(self.layout.unit, pixels)

    def _covered(self, mask: Image.Image) -> list[PixelBox]:
        """Boxes that hold all that stays the same: most of a picture's middle is free of words."""
        w, h = self.layout.size
        rows = np.flatnonzero(np.asarray(mask).any(axis=1))
        breaks = np.flatnonzero(np.diff(rows) > 1)
        starts = [rows[0], *rows[breaks + 1]] if len(rows) else []
        ends = [*rows[breaks], rows[-1]] if len(rows) else []
        found = []
        for top, bottom in zip(starts, ends, strict=True):
            strip = mask.crop((0, int(top), w, int(bottom) + 1)).getbbox()
            if strip is not None:
                found.append((strip[0], int(top), strip[2], min(int(bottom) + 1, h)))
        return found

    def show(
        self,
        frame: Image.Image,
        figures: list[Reading],
        pace: str,
        blow: str | None,
        moment: Moment | None = None,
        notes: Sequence[PlacedNote] = (),
    ) -> None:
        """Set the words onto `frame`, in place."""
        if frame.mode == "RGBA":
            frame.alpha_composite(self._still)
        else:
            for place, colours, mask in self._strips:
                frame.paste(colours, place, mask)
        pen = ImageDraw.Draw(frame)
        put_notes(pen, self.layout, notes)
        if moment is not None:
            for panel in self._panels:
                panel.show(pen, moment)
        for cell, reading in zip(self.layout.cells, figures, strict=False):
            self._put_reading(pen, cell, reading)
        if pace:
            self._put_pace(pen, pace)
        if blow:
            self._put_blow(pen, blow)

    def _put_reading(self, pen: ImageDraw.ImageDraw, cell: PixelBox, reading: Reading) -> None:
        left, top = cell[0] + self._u(16), cell[1]
        room = cell[2] - left - self._u(10)
        label, size = fitted(reading.label, room, self._u(23))
        pen.text((left, top + self._u(28)), label, palette.INK_SOFT, font(size), anchor="ls")
        size = min(self._u(40), int((cell[2] - cell[0] - self._u(26)) / 5.2))
        big, small = font(size, True), font(round(0.7 * size))
        baseline = top + self._u(72)
        pen.text((left, baseline), reading.number, palette.INK, big, anchor="ls")
        after = left + big.getlength(reading.number) + self._u(8)
        pen.text((after, baseline), reading.unit, palette.INK, small, anchor="ls")

    def _put_pace(self, pen: ImageDraw.ImageDraw, pace: str) -> None:
        left, top, right, bottom = self.layout.pace
        text, size = fitted(pace, right - left - self._u(28), self._u(25), True)
        wide = int(font(size, True).getlength(text)) + self._u(28)
        if self.layout.wide:
            left = right - wide
        slow = pace.startswith("1/")
        fill, ink = (palette.ACCENT, palette.ACCENT_INK) if slow else (palette.PANEL, palette.INK)
        pen.rounded_rectangle((left, top, left + wide, bottom), self._u(20), fill=fill)
        pen.text((left + self._u(14), (top + bottom) / 2), text, ink, font(size, True), anchor="lm")

    def _put_blow(self, pen: ImageDraw.ImageDraw, blow: str) -> None:
        left, top, right, bottom = self.layout.impact
        text, size = fitted(blow, right - left - self._u(32), self._u(27), True)
        wide = int(font(size, True).getlength(text)) + self._u(32)
        pen.rounded_rectangle((left, top, left + wide, bottom), self._u(10), fill=palette.INK)
        pen.text(
            (left + self._u(16), (top + bottom) / 2),
            text,
            palette.PANEL,
            font(size, True),
            anchor="lm",
        )

    def _put_scrim(self) -> None:
        """Darken the lower edge softly, so that small print reads on any ground."""
        w, h = self.layout.size
        top = self.layout.key[1] - self._u(50)
        ramp = Image.new("L", (1, h), 0)
        for y in range(top, h):
            share = min(1.0, (y - top) / self._u(150))
            ramp.putpixel((0, y), round(225 * share * share * (3 - 2 * share)))
        for y in range(self._u(150)):
            ramp.putpixel((0, y), round(130 * (1 - y / self._u(150)) ** 2))
        self._still.paste(palette.BACKDROP_LOW, (0, 0, w, h))
        self._still.putalpha(ramp.resize((w, h)))

    def _put_title(self, pen: ImageDraw.ImageDraw, title: str) -> None:
        left, top, right, bottom = self.layout.title
        points = self._u(32)
        text, size = fitted(title, right - left, points, True)
        whole = text == title
        wide = int(font(size, True).getlength(text)) if whole else right - left
        plate = (left - self._u(10), top, left + wide + self._u(10), bottom)
        pen.rounded_rectangle(plate, self._u(10), fill=(*palette.rgb(palette.PANEL), 150))
        if whole:
            pen.text((left, (top + bottom) / 2), text, palette.INK, font(size, True), anchor="lm")
            return
        size = self._u(21)  # two lines; what still does not fit is cut with a sign
        lines = wrapped(title, right - left, size, True)
        if len(lines) > 2:
            lines[1] = " ".join(lines[1:])
        for k, line in enumerate(lines[:2]):
            text, small = fitted(line, right - left, size, True)
            y = top + (bottom - top) * (0.25 + 0.5 * k)
            pen.text((left, y), text, palette.INK, font(small, True), anchor="lm")

    def _put_boxes(self, pen: ImageDraw.ImageDraw, figures: bool) -> None:
        """The boxes of the readings, where they are shown, and what stands still in the panels."""
        fill, edge = (*palette.rgb(palette.PANEL), 235), (*palette.rgb(palette.PANEL_EDGE), 255)
        for cell in self.layout.cells if figures else ():
            pen.rounded_rectangle(cell, self._u(10), fill=fill, outline=edge)
        for panel in self._panels:
            panel.still(pen)

    def _put_caution(self, pen: ImageDraw.ImageDraw) -> None:
        left, top, right, _ = self.layout.caution
        size = self._u(19)
        for i, line in enumerate(wrapped(CAUTION, right - left, size)):
            pen.text((left, top + i * self._u(24)), line, palette.INK_SOFT, font(size))

    def _put_warning(self, pen: ImageDraw.ImageDraw, warning: str) -> None:
        """A band right across, under what stands at the top, of a run not to be relied on."""
        (wide, _), top = self.layout.size, self.layout.impact[3] + self._u(10)
        size, edge = self._u(27), self._u(32)
        lines = wrapped(warning, wide - 2 * edge, size, True)
        pen.rectangle((0, top, wide, top + self._u(16) + len(lines) * self._u(38)), palette.ALARM)
        for k, line in enumerate(lines):
            y = top + self._u(8) + k * self._u(38)
            pen.text((edge, y), line, palette.ALARM_LETTER, font(size, True))

    def _put_scale(self, pen: ImageDraw.ImageDraw, pixels_per_metre: float) -> None:
        left, top, right, bottom = self.layout.scale
        length, words = scale_bar(pixels_per_metre, (right - left) // 2)
        wide, middle = round(length * pixels_per_metre), (top + bottom) // 2
        pen.text(
            (right - wide - self._u(12), middle), words, palette.INK, font(self._u(22)), anchor="rm"
        )
        pen.rectangle((right - wide, middle - self._u(2), right, middle + self._u(2)), palette.INK)
        for x in (right - wide, right):
            pen.rectangle(
                (x - self._u(1), middle - self._u(9), x + self._u(1), middle + self._u(9)),
                palette.INK,
            )

    def _put_pole_key(self, pen: ImageDraw.ImageDraw) -> int:
        """Swatches of both poles; returns where the next key may start."""
        left, top, _, bottom = self.layout.key
        side, size = bottom - top - self._u(8), self._u(20)
        for letter, fill, ink in (
            ("N", palette.NORTH, palette.NORTH_LETTER),
            ("S", palette.SOUTH, palette.SOUTH_LETTER),
        ):
            box = (left, top + self._u(4), left + 2 * side, top + self._u(4) + side)
            pen.rectangle(box, fill)
            if letter == "S":
                for x in range(box[0], box[2], self._u(9)):
                    pen.line((x, box[3], min(x + side, box[2]), box[1] + max(0, x + side - box[2])),
                             palette.SOUTH_HATCH, self._u(2))  # fmt: skip
                disc = (box[0] + side // 2, box[1], box[0] + side // 2 + side, box[3])
                pen.ellipse(disc, fill)
            pen.rectangle(box, outline=palette.INK_SOFT)
            middle = ((box[0] + box[2]) / 2, (box[1] + box[3]) / 2)
            pen.text(middle, letter, ink, font(size, True), anchor="mm")
            left = box[2] + self._u(8)
        return left + self._u(20)

    def _put_polarisation_key(
        self, pen: ImageDraw.ImageDraw, left: int, top_value: float, arrows: bool
    ) -> None:
        """Colour bar of magnetisation over saturation; beside arrows the length of the longest."""
        _, top, right, bottom = self.layout.key
        size, middle = self._u(20), (top + bottom) // 2
        first, last = "magnetised 0", "full"
        if arrows:
            last += f"; longest arrow {top_value:g} T"
        bar = self._u(130)
        need = font(size).getlength(first + last) + bar + self._u(20)
        if need > right - left:
            first, last = "0", "full"
            room = int(right - left - font(size).getlength(first + last)) - self._u(20)
            bar = max(self._u(40), min(bar, room))
        pen.text((left, middle), first, palette.INK, font(size), anchor="lm")
        x = left + int(font(size).getlength(first)) + self._u(8)
        for i, colour in enumerate(ember.as_bytes(bar)):
            pen.line((x + i, middle - self._u(7), x + i, middle + self._u(7)), colour)
        pen.text((x + bar + self._u(8), middle), last, palette.INK, font(size), anchor="lm")
