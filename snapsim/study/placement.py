"""Where a study sets a body down: data; `place` does it."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Placement:
    """`body` is moved along `direction` (3,), a unit vector, until its gap to body `to` is `gap`
    [m]; to the nearest such place, be it ahead or back."""

    body: str
    to: str
    direction: tuple[float, float, float] = (0.0, 0.0, -1.0)
    gap: float = 0.0
