"""Where the magnetic energy goes: bars of motion, of weight lifted and of what blows have taken.

Energies since release [J]: the field gives up -dE_mag, of which the kinetic energy, the rise of
weight's energy and what blows and friction have taken are told apart; what hands did is the rest.
Each bar has its own colour, pattern and words.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from PIL import ImageDraw

from snapsim.arrays import Array
from snapsim.render import palette
from snapsim.render.interpolation import Moment
from snapsim.render.layout import PixelBox, scaled
from snapsim.render.lettering import fitted, font, signed
from snapsim.simulation.reproducibility import Twins
from snapsim.words.trust import mark_of

ROWS = (
    ("from field", "magnetic", -1.0, palette.BAR_FIELD),
    ("motion", "kinetic", 1.0, palette.BAR_MOTION),
    ("lifted", "gravity", 1.0, palette.BAR_LIFTED),
    ("lost", "dissipated", 1.0, palette.BAR_LOST),
)
"""Words, the run's energy, its sign as shown, colour."""


class EnergyBars:
    """Bars of the energies of a run (`energy` by name, (k,) [J]) in a box of a layout; figures are
    marked where its twins had parted."""

    def __init__(
        self,
        energy: Mapping[str, Array],
        box: PixelBox,
        unit: float,
        twins: Twins | None = None,
    ) -> None:
        self._box, self._unit, self._twins = box, unit, twins
        self._first = {name: float(values[0]) for name, values in energy.items()}
        changes = [np.abs(energy[name] - energy[name][0]) for _, name, _, _ in ROWS]
        self._most = max((float(np.nanmax(c, initial=0.0)) for c in changes), default=0.0)
        self._factor, self._name = (1.0, "J") if self._most >= 0.5 else (1e3, "mJ")

    def values(self, moment: Moment) -> list[float]:
        """Return what the bars show at a moment [J], in the order of `ROWS`."""
        return [sign * (moment.energy[name] - self._first[name]) for _, name, sign, _ in ROWS]

    def still(self, pen: ImageDraw.ImageDraw) -> None:
        """Draw the panel, its heading and the words."""
        u = self._u
        left, top, right, _bottom = self._box
        pen.rounded_rectangle(
            self._box,
            u(10),
            fill=(*palette.rgb(palette.PANEL), 235),
            outline=(*palette.rgb(palette.PANEL_EDGE), 255),
        )
        heading, size = fitted(f"energy [{self._name}]", right - left - u(24), u(19))
        pen.text((left + u(12), top + u(22)), heading, palette.INK_SOFT, font(size), anchor="ls")
        for k, (words, _, _, _) in enumerate(ROWS):
            text, size = fitted(words, self._room(), u(19))
            middle = self._middle(k)
            pen.text((left + u(12), middle), text, palette.INK, font(size), anchor="lm")

    def show(self, pen: ImageDraw.ImageDraw, moment: Moment) -> None:
        """Draw the bars, from a common left edge; what is negative is shown hollow."""
        u = self._u
        start = self._box[0] + u(12) + self._room() + u(8)
        end = self._box[2] - u(12) - u(62)
        for k, ((_, _, _, colour), value) in enumerate(zip(ROWS, self.values(moment), strict=True)):
            middle, half = self._middle(k), u(7)
            share = min(abs(value) / self._most, 1.0) if self._most > 0 else 0.0
            to = start + round(share * (end - start))
            bar = (start, middle - half, max(to, start + 1), middle + half)
            if value >= 0:
                pen.rectangle(bar, colour)
                self._pattern(pen, k, bar)
            else:
                pen.rectangle(bar, outline=colour, width=u(2))
            number = signed(self._factor * value, self._factor * self._most)
            number += mark_of(self._twins, moment.time)
            right = self._box[2] - u(12)
            pen.text((right, middle), number, palette.INK, font(u(19), True), anchor="rm")

    def _pattern(self, pen: ImageDraw.ImageDraw, row: int, bar: PixelBox) -> None:
        """Upright hatch in every second bar, so that colour is not all that tells them apart."""
        if row % 2:
            for x in range(bar[0] + self._u(6), bar[2], self._u(8)):
                pen.line((x, bar[1], x, bar[3]), palette.PANEL, self._u(2))

    def _u(self, pixels: float) -> int:
        return scaled(self._unit, pixels)

    def _room(self) -> int:
        return min(self._u(126), (self._box[2] - self._box[0]) * 9 // 20)

    def _middle(self, row: int) -> int:
        top = self._box[1] + self._u(30)
        each = (self._box[3] - top - self._u(6)) / len(ROWS)
        return round(top + (row + 0.5) * each)
