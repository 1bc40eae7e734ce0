"""Tracked points as read: times, picture places, gaps."""

from __future__ import annotations

from dataclasses import dataclass

from snapsim.arrays import Array


@dataclass(frozen=True)
class Track:
    """One point through the footage: `time` (k,) [s] in the footage, increasing; `place` (k, 2)
    across and along the picture, in pixels or what the view says; nan where the point was lost.

    It follows the point `mark` (3,) [m] of body `body` in the body's own frame; `weight` multiplies
    its share in a fit.
    """

    point: str
    body: str
    mark: Array
    time: Array
    place: Array
    weight: float = 1.0

    @property
    def seen(self) -> int:
        """How many frames show the point."""
        return int((self.place == self.place).all(axis=1).sum())


@dataclass(frozen=True)
class Footage:
    """All tracks of one file, and the file as it was read."""

    tracks: tuple[Track, ...]
    file: str
    source: str

    @property
    def last(self) -> float:
        """The last time at which a point is seen [s]."""
        return max(float(t.time[(t.place == t.place).all(axis=1)].max()) for t in self.tracks)
