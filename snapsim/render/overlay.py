"""Words and figures over the picture, set by `pillow` at the final resolution.

Everything has a place worked out from the picture's size alone, so that nothing is cut off in
landscape, square or portrait; what does not change in a clip is drawn once.
"""

from __future__ import annotations

import functools
from dataclasses import dataclass

import matplotlib as mpl
from PIL import Image, ImageDraw, ImageFont

from snapsim.render import palette
from snapsim.render.camera import Margins
from snapsim.render.readings import Reading
from snapsim.render.typeface import font_path

CAUTION = (
    "Computed, not a permission: strong magnets crush and shatter, results vary; "
    "local rules and qualified people decide."
)
Box = tuple[int, int, int, int]
STEPS = tuple(m * 10.0**e for e in range(-4, 2) for m in (1, 2, 5))


@functools.cache
def font(points: int, bold: bool = False) -> ImageFont.FreeTypeFont:
    """Return the typeface at a size, laid out plainly, without the system's shaping library."""
    path = str(font_path(bold))
    return ImageFont.truetype(path, points, layout_engine=ImageFont.Layout.BASIC)


@dataclass(frozen=True)
class Layout:
    """Places in pixels: `unit` is the size of one 720th of the picture's useful height.

    `cells` hold the readings in reading order, `title`, `pace`, `impact`, `scale`, `key` and
    `caution` one box each, (left, top, right, bottom).
    """

    size: tuple[int, int]
    unit: float
    title: Box
    pace: Box
    impact: Box
    cells: tuple[Box, ...]
    scale: Box
    key: Box
    caution: Box

    @property
    def margins(self) -> Margins:
        """Shares of the picture that the scene must leave to the words."""
        h = self.size[1]
        return Margins(0.05, 0.05, self.impact[3] / h + 0.015, 1 - self.key[1] / h + 0.015)


def lay_out(width: int, height: int) -> Layout:
    """Return the places for a picture of this size: one row of readings, or two rows of two."""
    wide = width >= 1.25 * height
    unit = min(width / 1280, height / 720) if wide else min(width / 760, height / 760)
    u = functools.partial(_scaled, unit)
    edge, gap = u(24), u(12)
    columns, cell = (4 if width >= 0.9 * height else 2), u(86)
    rows = 4 // columns
    caution_top = height - edge - u(20 if wide else 46)
    bottom = caution_top - u(10)
    top = bottom - rows * cell - (rows - 1) * gap
    each = (width - 2 * edge - (columns - 1) * gap) // columns
    cells = tuple(
        (
            edge + c * (each + gap),
            top + r * (cell + gap),
            edge + c * (each + gap) + each,
            top + r * (cell + gap) + cell,
        )
        for r in range(rows)
        for c in range(columns)
    )
    pace_top = edge if wide else edge + u(48)
    pace_left = width - edge - u(330) if wide else edge
    head = edge + u(46)
    blow_top = head + u(6) if wide else pace_top + u(52)
    key_top = top - u(44)
    return Layout(
        size=(width, height),
        unit=unit,
        title=(edge, edge, (pace_left if wide else width) - edge, head),
        pace=(pace_left, pace_top, pace_left + u(330), pace_top + u(44)),
        impact=(edge, blow_top, width - edge, blow_top + u(44)),
        cells=cells,
        scale=(width - edge - u(330), key_top, width - edge, key_top + u(36)),
        key=(edge, key_top, width - edge - u(340), key_top + u(36)),
        caution=(edge, caution_top, width - edge, height - u(14)),
    )


def _scaled(unit: float, pixels: float) -> int:
    return max(1, round(unit * pixels))


def fitted(
    text: str, width: int, points: int, bold: bool = False, least: int = 9
) -> tuple[str, int]:
    """Return (text, points) that fit `width`: smaller letters first, then a shortened text."""
    size = points
    while size > max(least, points * 2 // 3) and font(size, bold).getlength(text) > width:
        size -= 1
    while len(text) > 1 and font(size, bold).getlength(text) > width:
        text = text[:-2].rstrip() + "…"
    return text, size


def wrapped(text: str, width: int, points: int) -> list[str]:
    """Return the text in lines that fit `width`."""
    lines = [""]
    for word in text.split():
        longer = f"{lines[-1]} {word}".strip()
        if font(points).getlength(longer) <= width or not lines[-1]:
            lines[-1] = longer
        else:
            lines.append(word)
    return lines


def scale_bar(pixels_per_metre: float, room: int) -> tuple[float, str]:
    """Return the longest tidy length [m] whose bar fits `room` pixels, and its words."""
    fitting = [s for s in STEPS if s * pixels_per_metre <= room]
    length = fitting[-1] if fitting else STEPS[0]
    return length, f"{1e3 * length:g} mm" if length < 1 else f"{length:g} m"


class Overlay:
    """Draws the words of a clip: `still` once, then `show` on every frame."""

    def __init__(
        self,
        layout: Layout,
        title: str,
        pixels_per_metre: float,
        *,
        magnets: bool,
        top_polarisation: float,
        figures: bool = True,
    ) -> None:
        self.layout = layout
        self._still = Image.new("RGBA", layout.size, (0, 0, 0, 0))
        self._put_scrim()
        pen = ImageDraw.Draw(self._still)
        self._put_title(pen, title)
        self._put_caution(pen)
        self._put_scale(pen, pixels_per_metre)
        left = self._put_pole_key(pen) if magnets else layout.key[0]
        if top_polarisation > 0:
            self._put_arrow_key(pen, left, top_polarisation)
        for cell in layout.cells if figures else ():
            pen.rounded_rectangle(
                cell,
                self._u(10),
                fill=(*palette.rgb(palette.PANEL), 235),
                outline=(*palette.rgb(palette.PANEL_EDGE), 255),
            )
        self._mask = self._still.getchannel("A")
        self._colours = self._still.convert("RGB")

    def _u(self, pixels: float) -> int:
        return _scaled(self.layout.unit, pixels)

    def show(self, frame: Image.Image, figures: list[Reading], pace: str, blow: str | None) -> None:
        """Set the words onto `frame`, in place."""
        frame.paste(self._colours, (0, 0), self._mask)
        pen = ImageDraw.Draw(frame)
        for cell, reading in zip(self.layout.cells, figures, strict=False):
            self._put_reading(pen, cell, reading)
        if pace:
            self._put_pace(pen, pace)
        if blow:
            self._put_blow(pen, blow)

    def _put_reading(self, pen: ImageDraw.ImageDraw, cell: Box, reading: Reading) -> None:
        left, top = cell[0] + self._u(16), cell[1]
        room = cell[2] - left - self._u(10)
        label, size = fitted(reading.label, room, self._u(20))
        pen.text((left, top + self._u(28)), label, palette.INK_SOFT, font(size), anchor="ls")
        size = min(self._u(38), int((cell[2] - cell[0] - self._u(26)) / 5.2))
        big, small = font(size, True), font(round(0.7 * size))
        baseline = top + self._u(72)
        pen.text((left, baseline), reading.number, palette.INK, big, anchor="ls")
        after = left + big.getlength(reading.number) + self._u(8)
        pen.text((after, baseline), reading.unit, palette.INK, small, anchor="ls")

    def _put_pace(self, pen: ImageDraw.ImageDraw, pace: str) -> None:
        left, top, right, bottom = self.layout.pace
        text, size = fitted(pace, right - left - self._u(28), self._u(25), True)
        wide = int(font(size, True).getlength(text)) + self._u(28)
        if self.layout.size[0] >= 1.25 * self.layout.size[1]:
            left = right - wide
        slow = pace.startswith("SLOW")
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
        text, size = fitted(title, right - left, self._u(30), True)
        pen.text((left, (top + bottom) / 2), text, palette.INK, font(size, True), anchor="lm")

    def _put_caution(self, pen: ImageDraw.ImageDraw) -> None:
        left, top, right, _ = self.layout.caution
        size = self._u(19)
        for i, line in enumerate(wrapped(CAUTION, right - left, size)):
            pen.text((left, top + i * self._u(24)), line, palette.INK_SOFT, font(size))

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

    def _put_arrow_key(self, pen: ImageDraw.ImageDraw, left: int, top_value: float) -> None:
        """Colour bar of the arrows, with its two ends in tesla."""
        _, top, right, bottom = self.layout.key
        size, middle = self._u(20), (top + bottom) // 2
        first, last = "arrows: µ₀M  0", f"{top_value:g} T"
        bar = self._u(130)
        need = font(size).getlength(first + last) + bar + self._u(20)
        if need > right - left:
            first = "µ₀M 0"
            room = int(right - left - font(size).getlength(first + last)) - self._u(20)
            bar = max(self._u(40), min(bar, room))
        pen.text((left, middle), first, palette.INK, font(size), anchor="lm")
        x = left + int(font(size).getlength(first)) + self._u(8)
        colours = mpl.colormaps[palette.ARROW_MAP]
        for i in range(bar):
            r, g, b, _ = colours(i / max(bar - 1, 1), bytes=True)
            pen.line(
                (x + i, middle - self._u(7), x + i, middle + self._u(7)), (int(r), int(g), int(b))
            )
        pen.text((x + bar + self._u(8), middle), last, palette.INK, font(size), anchor="lm")
