"""What is fitted: keys of the scene or of the camera, each between two bounds."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from snapsim.arrays import Array
from snapsim.errors import InputError, suggest
from snapsim.footage.match_file import Bounds
from snapsim.footage.pixels import pixels, pixels_per_metre
from snapsim.scenario.quantities import TIME, parse
from snapsim.study.distributions import Distribution

CAMERA = ("time.release", "view.scale", "view.origin.x", "view.origin.y")
"""Keys of the match file that may be fitted with those of the scene."""


@dataclass(frozen=True)
class Unknown:
    """A key with its bounds in `unit` ("" for plain numbers); `relative` ones multiply the scene's
    value. Shares run from 0 at `low` to 1 at `high`."""

    key: str
    low: float
    high: float
    unit: str
    relative: bool = False

    @property
    def of_camera(self) -> bool:
        """Does it belong to the camera, not to the scene?"""
        return self.key in CAMERA

    def value(self, share: float) -> float:
        """Return the number, in `unit`, at a share."""
        return self.low + share * (self.high - self.low)

    def text(self, share: float) -> str:
        """Return the value with its unit."""
        return f"{self.value(share)!r} {self.unit}".strip()

    def si(self, share: float) -> float:
        """Return the value of a camera's key in SI units (px, px/m, s)."""
        if self.key == "time.release":
            return parse(self.text(share), TIME)[0]
        if self.key == "view.scale":
            return pixels_per_metre(self.text(share))
        return pixels(self.text(share), 1, "320 px")[0]


def unknowns_of(fit: Mapping[str, Bounds], file: str) -> tuple[Unknown, ...]:
    """Return the unknowns of [fit]; raises InputError in one line."""
    found = []
    for key, bounds in fit.items():
        try:
            spread = bounds.spread()
            unknown = Unknown(key, spread.at(0.0), spread.at(1.0), spread.unit, bounds.relative)
            if unknown.of_camera:
                unknown.si(0.0), unknown.si(1.0)
            elif key.startswith(("time.", "view.")):
                raise ValueError(f"cannot be fitted{suggest(key, CAMERA)}")
        except ValueError as error:
            raise InputError(str(error), file=file, key=f'fit."{key}"') from None
        found.append(unknown)
    return tuple(found)


def spreads(unknowns: tuple[Unknown, ...], fit: Mapping[str, Bounds]) -> dict[str, Distribution]:
    """Return what a study would vary: the scene's unknowns, evenly between their bounds."""
    return {u.key: fit[u.key].spread() for u in unknowns if not u.of_camera}


def values(unknowns: tuple[Unknown, ...], shares: Array) -> dict[str, float]:
    """Return each unknown's number, in its unit."""
    return {u.key: u.value(float(s)) for u, s in zip(unknowns, shares, strict=True)}
