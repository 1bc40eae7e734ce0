"""A coil: turns of wire spread evenly over the rectangular cross-section of a ring or a frame.

The current per area of the cross-section, j = N I/(w L) [A/m^2] with N turns, current I [A], w [m]
across and L [m] along the axis, runs round the body's z axis (right-handed for I > 0). Insulation,
leads and the pitch of the wire are left out. Between its moments a table of currents runs straight;
before the first and after the last it stands still; two rows of one moment are a jump.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from snapsim.arrays import Array
from snapsim.parts.shapes import OpenFrame, Ring, Shape

STEPS = 24
"""Steps in which a current goes from its largest to nothing: a force that goes with its square is
off by a part in 1 200 of the whole at any time, and not at all in the mean of a step."""


@dataclass(frozen=True)
class Coil:
    """`turns`; `current` (k,) [A] at the moments `time` (k,) [s] since release, not falling."""

    turns: float
    time: Array
    current: Array

    def at(self, time: float) -> float:
        """Return the current [A] just after a moment [s]."""
        after = int(np.searchsorted(self.time, time, side="right"))
        if after == 0:
            return float(self.current[0])
        if after == len(self.time):
            return float(self.current[-1])
        t0, t1 = self.time[after - 1], self.time[after]
        share = (time - t0) / (t1 - t0)
        return float(self.current[after - 1] * (1 - share) + self.current[after] * share)

    @property
    def moments(self) -> Array:
        """Moments (m,) [s] after the first at which the current takes a step: at jumps, and along
        slopes so often that none changes it by more than 1/`STEPS` of its largest."""
        largest = float(np.abs(self.current).max())
        found: list[float] = []
        for k in range(1, len(self.time)):
            t0, t1 = float(self.time[k - 1]), float(self.time[k])
            change = abs(float(self.current[k] - self.current[k - 1]))
            if change == 0 or largest == 0:
                continue
            count = 1 if t1 == t0 else math.ceil(STEPS * change / largest)
            found += [t0] if t1 == t0 else np.linspace(t0, t1, count + 1).tolist()
        return np.unique(np.array(found, dtype=np.float64))


@dataclass(frozen=True)
class Winding:
    """Where the turns lie: round a ring's bore of radius `inner` (a, a) [m], or round a frame's
    window of half sizes `inner` (a, b); `width` across, `half_length` half of it along z [m]."""

    is_round: bool
    inner: tuple[float, float]
    width: float
    half_length: float

    @property
    def mean_area(self) -> float:
        """Area [m^2] that a turn spans in the mean: moment over ampere-turns."""
        a, b, w = *self.inner, self.width
        mean = a * b + (a + b) * w / 2 + w * w / 3
        return (math.pi if self.is_round else 4.0) * mean


def winding_of(shape: Shape) -> Winding | None:
    """Return where the turns of a coil of that shape lie; None for a shape that is no coil's."""
    if isinstance(shape, Ring):
        inner = shape.inner_diameter / 2
        width = (shape.outer_diameter - shape.inner_diameter) / 2
        return Winding(True, (inner, inner), width, shape.length / 2)
    if isinstance(shape, OpenFrame):
        a, b = shape.window[0] / 2, shape.window[1] / 2
        return Winding(False, (a, b), shape.width, shape.length / 2)
    return None
