"""The energy of weight and pull as a slope with the part as a bead on it: what wins on either side
of its crest stands below, each side in the colour of what wins there."""

from __future__ import annotations

from typing import Final

import numpy as np
from PIL import ImageDraw

from snapsim.arrays import Array
from snapsim.render import palette
from snapsim.render.interpolation import Moment
from snapsim.render.layout import PixelBox, scaled
from snapsim.render.lettering import font
from snapsim.render.slope import Slope, Wins, left_of
from snapsim.simulation.trajectory import Trajectory

BEYOND: Final = 0.06
"""Share of the way between the hollows on both sides of a crest that is drawn beyond them."""
SHOWN: Final = 240
"""Points of the bead's way."""


class EnergySlope:
    """The slope of body number `part` of a run, in a box of a layout; `least` is the smallest type
    [pixels]."""

    def __init__(
        self, slope: Slope, run: Trajectory, part: int, box: PixelBox, unit: float, least: int
    ) -> None:
        self._slope, self._run, self._part = slope, run, part
        self._box, self._unit, self._size = box, unit, max(scaled(unit, 22), least)
        left, top, right, bottom = box
        self._said = self._fitting(slope.words())
        low, high = top + round(0.5 * self._size), bottom - round(1.4 * self._size)
        beside = self._u(30) + round(font(self._size).getlength("energy"))
        self._frame = left + beside, low, right - self._u(16), high
        first, last = slope.window(BEYOND)
        seen = (slope.at >= first) & (slope.at <= last)
        energy = slope.energy[seen]
        margin = 0.12 * float(np.ptp(energy)) or 1.0
        self._range = first, last, float(energy.min()) - margin, float(energy.max()) + margin
        self._curve = self._points(slope.at[seen], energy)
        crest = slope.crest
        self._crest = None if crest is None else self._points(np.array([crest]), energy[:1])[0][0]
        few = np.unique(np.linspace(0, len(run.time) - 1, SHOWN).astype(int))
        past = np.array([self._bead_at(k) for k in few]).reshape(-1, 2)
        self._when, self._way = run.time[few], self._points(past[:, 0], past[:, 1])

    def _fitting(self, said: tuple[str, str]) -> tuple[str, str]:
        """What wins on either side, only by name where there is no room to say that it wins."""
        room = self._box[2] - self._box[0] - self._u(44)
        if font(self._size, True).getlength("".join(said)) <= room:
            return said
        return said[0].split(" ")[0], said[1].split(" ")[0]

    def _bead_at(self, frame: int) -> tuple[float, float]:
        """How far it has come and what is left of its energy at a stored frame."""
        run, i = self._run, self._part
        names = ("magnetic", "gravity")
        left = sum(float(run.energy[n][frame] - run.energy[n][0]) for n in names)
        place = run.position[frame, i], run.quaternion[frame, i]
        return self._slope.come(run, i, *place), left

    def still(self, pen: ImageDraw.ImageDraw) -> None:
        """Draw the panel, the slope in two colours, and what wins on either side."""
        u, (left, _, right, bottom) = self._u, self._box
        pen.rounded_rectangle(self._box, u(10), fill=(*palette.rgb(palette.PANEL), 235))
        middle = (self._frame[1] + self._frame[3]) / 2
        pen.text((left + u(14), middle), "energy", palette.INK_SOFT, font(self._size), anchor="lm")
        sides = zip(self._said, self._slope.words(), (True, False), strict=True)
        for said, wins, first in sides:
            colour = palette.FORCE if wins is Wins.PULL else palette.INK
            side = [p for p in self._curve if self._crest is None or (p[0] <= self._crest) == first]
            if self._crest is not None and said:
                side = sorted([*side, self._top()])
            if said and len(side) > 1:
                pen.line(side, colour, u(5), joint="curve")
            elif len(side) > 1:
                pen.line(side, palette.CURVE_FAINT, u(5), joint="curve")
            place = (left + u(14) if first else right - u(14), bottom - u(7))
            face = font(self._size, True)
            pen.text(place, said, colour, face, anchor="ls" if first else "rs")
        if self._crest is not None:
            for y in range(self._frame[1], self._frame[3], u(9)):
                pen.line((self._crest, y, self._crest, y + u(4)), palette.INK_SOFT, u(2))

    def _top(self) -> tuple[float, float]:
        """The crest, in the picture."""
        assert self._crest is not None
        xs, ys = zip(*self._curve, strict=True)
        return self._crest, float(np.interp(self._crest, xs, ys))

    def show(self, pen: ImageDraw.ImageDraw, moment: Moment) -> None:
        """Draw the bead, and the way it has come; below the frame it points down."""
        u, i = self._u, self._part
        place = moment.position[i], moment.quaternion[i]
        at = self._slope.come(self._run, i, *place)
        ((x, y),) = self._points(np.array([at]), np.array([left_of(self._run, moment)]))
        come = int(np.searchsorted(self._when, moment.time, side="right"))
        way = [*self._way[:come], (x, y)]
        if len(way) > 1:
            pen.line(way, palette.TRAIL, u(3), joint="curve")
        r = u(10)
        if y >= self._frame[3]:
            pen.polygon([(x - r, y - r), (x + r, y - r), (x, y + u(4))], palette.TRAIL)
            return
        pen.ellipse((x - r, y - r, x + r, y + r), palette.TRAIL, palette.PANEL, u(3))

    def _u(self, pixels: float) -> int:
        return scaled(self._unit, pixels)

    def _points(self, at: Array, energy: Array) -> list[tuple[float, float]]:
        """Places in the picture, those beyond the frame at its edge."""
        x0, y0, x1, y1 = self._frame
        low, high, least, most = self._range
        x = x0 + (x1 - x0) * np.clip((at - low) / (high - low), 0, 1)
        y = y1 - (y1 - y0) * np.clip((energy - least) / (most - least), 0, 1)
        return [(float(a), float(b)) for a, b in zip(x, y, strict=True)]
