"""What a clip's maker may choose, and the checks on it."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

from snapsim.errors import InputError


@dataclass(frozen=True)
class ClipOptions:
    """Choices for a clip or a still.

    `width`, `height` [pixels], even; `fps` [1/s]; `slow_motion` is how many times slower the time
    round the first impact runs (None: chosen so that the blow can be watched, 1: real time
    throughout); `slow_window` (before, after) the impact [s of simulated time] (None: chosen);
    `supersample` draws four samples a pixel; `arrows` shows the magnetisation of soft parts;
    `view` (azimuth, elevation) [deg] overrides the automatic camera; `overwrite` replaces an
    existing file.
    """

    width: int = 1280
    height: int = 720
    fps: int = 60
    slow_motion: float | None = None
    slow_window: tuple[float, float] | None = None
    supersample: bool = True
    arrows: bool = True
    view: tuple[float, float] | None = None
    overwrite: bool = False


def check_options(options: ClipOptions) -> None:
    """Raise InputError naming the first choice that cannot be drawn, and what is allowed."""
    for key, message in _problems(options):
        raise InputError(message, key=key)


def _problems(o: ClipOptions) -> Iterator[tuple[str, str]]:
    for key, value in (("width", o.width), ("height", o.height)):
        if value % 2:
            yield key, f"is {value}; must be even, as H.264 stores colour for 2 x 2 pixels"
        if not 240 <= value <= 4096:
            yield key, f"is {value}; must be 240 to 4096 pixels"
    if not 1 <= o.fps <= 240:
        yield "fps", f"is {o.fps}; must be 1 to 240 frames a second"
    if o.slow_motion is not None and not 1 <= o.slow_motion <= 10_000:
        yield "slow_motion", f"is {o.slow_motion:g}; must be 1 (off) to 10000 times slower"
    if o.slow_window is not None and not all(math.isfinite(w) and w >= 0 for w in o.slow_window):
        yield "slow_window", f"is {o.slow_window}; must be two times in seconds, 0 or more"
    if o.view is not None and not (math.isfinite(o.view[0]) and -80 <= o.view[1] <= 80):
        yield "view", f"is {o.view}; must be an azimuth and an elevation of -80 to 80 degrees"
