"""Speed against time, running along: the whole curve faint, what has been shown bright."""

from __future__ import annotations

import numpy as np
from PIL import ImageDraw

from snapsim.arrays import Array
from snapsim.render import palette
from snapsim.render.interpolation import Moment
from snapsim.render.layout import PixelBox, scaled
from snapsim.render.lettering import fitted, font
from snapsim.simulation.trajectory import Trajectory
from snapsim.words.trust import COURSES

MOST = 400  # points of the curve


class SpeedPlot:
    """Speed of the leading part (k,) [m/s] at the run's frames; `blow` [s] is marked, or None, and
    what comes after its twins parted is drawn on a ground of its own."""

    def __init__(
        self,
        run: Trajectory,
        speed: Array,
        box: PixelBox,
        unit: float,
        part: int,
        blow: float | None,
    ) -> None:
        time = run.time
        self._box, self._unit, self._part, self._blow = box, unit, part, blow
        self._time, self._speed = time, speed
        self._top = max(float(speed.max(initial=0.0)), 1e-9)
        self._last = max(float(time[-1]), 1e-9)
        left, top, right, bottom = box
        self._frame = (
            left + self._u(14),
            top + self._u(34),
            right - self._u(14),
            bottom - self._u(28),
        )
        few = np.unique(np.linspace(0, len(time) - 1, min(MOST, len(time))).round().astype(int))
        most = int(np.argmax(speed))
        few = np.unique(np.append(few, [most, max(most - 1, 0), min(most + 1, len(time) - 1)]))
        self._curve = self._points(time[few], speed[few])
        apart = np.inf if run.twins is None else run.twins.apart
        self._apart = float(apart) if apart < self._last else None
        self._when = time[few]

    def still(self, pen: ImageDraw.ImageDraw) -> None:
        """Draw the panel, its axes' ends in words, and the whole curve."""
        u, (left, top, right, _bottom) = self._u, self._box
        pen.rounded_rectangle(
            self._box,
            u(10),
            fill=(*palette.rgb(palette.PANEL), 235),
            outline=(*palette.rgb(palette.PANEL_EDGE), 255),
        )
        room = right - left - u(24)
        words, size = fitted(f"speed, up to {self._top:.2f} m/s", room, u(19))
        pen.text((left + u(12), top + u(22)), words, palette.INK_SOFT, font(size), anchor="ls")
        x0, y0, x1, y1 = self._frame
        self._put_courses(pen)
        pen.line((x0, y1, x1, y1), palette.INK_SOFT, u(1))
        small = font(u(17))
        pen.text((x0, y1 + u(4)), "0", palette.INK_SOFT, small, anchor="la")
        pen.text((x1, y1 + u(4)), f"{self._last:.3g} s", palette.INK_SOFT, small, anchor="ra")
        if self._blow is not None:
            x = self._across(self._blow)
            for y in range(y0, y1, u(8)):
                pen.line((x, y, x, min(y + u(4), y1)), palette.INK_SOFT, u(1))
        pen.line(self._curve, palette.CURVE_FAINT, u(2), joint="curve")

    def _put_courses(self, pen: ImageDraw.ImageDraw) -> None:
        """Hatch what is one of several courses, and say so."""
        if self._apart is None:
            return
        x0, y0, x1, y1 = self._frame
        start, step = self._across(self._apart), self._u(8)
        for x in np.arange(start, x1, step).tolist():
            pen.line((x, y0, x, y1), palette.PANEL_EDGE, self._u(1))
        words, size = fitted(f"? {COURSES}", x1 - x0, self._u(17))
        pen.text((x1, y0 + self._u(2)), words, palette.INK_SOFT, font(size), anchor="ra")

    def show(self, pen: ImageDraw.ImageDraw, moment: Moment) -> None:
        """Draw the curve as far as it has been shown, and a dot where it is now."""
        u = self._u
        speed = float(np.linalg.norm(moment.velocity[self._part]))
        here = self._points(np.array([moment.time]), np.array([speed]))[0]
        shown = int(np.searchsorted(self._when, moment.time, side="right"))
        told = [*self._curve[:shown], here]
        if len(told) > 1:
            pen.line(told, palette.TRAIL, u(3), joint="curve")
        x, y = here
        pen.ellipse((x - u(6), y - u(6), x + u(6), y + u(6)), palette.INK)

    def _u(self, pixels: float) -> int:
        return scaled(self._unit, pixels)

    def _across(self, time: float) -> float:
        x0, _, x1, _ = self._frame
        return x0 + (x1 - x0) * min(time / self._last, 1.0)

    def _points(self, time: Array, speed: Array) -> list[tuple[float, float]]:
        x0, y0, x1, y1 = self._frame
        x = x0 + (x1 - x0) * np.clip(time / self._last, 0, 1)
        y = y1 - (y1 - y0) * np.clip(speed / self._top, 0, 1)
        return [(float(a), float(b)) for a, b in zip(x, y, strict=True)]
