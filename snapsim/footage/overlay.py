"""Tracks laid over the motion: residuals of each point and frame, and how far they agree."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from snapsim.arrays import Array
from snapsim.footage import robust_loss
from snapsim.footage.course import Course
from snapsim.footage.noise import track_noise
from snapsim.footage.projection import seen
from snapsim.footage.tracks import Footage, Track
from snapsim.footage.views import FootageView
from snapsim.parts.bodies import Body


@dataclass(frozen=True)
class TrackOverlay:
    """`computed` and `residual` (k, 2) of each track, tracked less computed [px]; `release` [s] in
    the footage; `noise` [px] of a place, and whether it was `given` or found from the tracks; nan
    where neither. `until` [s] after release: later frames were not compared."""

    footage: Footage
    view: FootageView
    course: Course
    bodies: tuple[Body, ...]
    release: float
    computed: tuple[Array, ...]
    residual: tuple[Array, ...]
    noise: float
    given: bool
    until: float

    def compared(self, k: int) -> Array:
        """Residuals (c, 2) of the frames of track k that are compared."""
        track, found = self.footage.tracks[k], self.residual[k]
        inside = track.time - self.release <= self.until
        return np.asarray(found[inside & np.isfinite(found).all(axis=1)])

    @property
    def all(self) -> Array:
        """All compared residuals, flat (n,) [px]."""
        return np.concatenate([self.compared(k).ravel() for k in range(len(self.residual))])


def overlay(
    footage: Footage,
    view: FootageView,
    course: Course,
    bodies: tuple[Body, ...],
    release: float,
    noise: float | None = None,
    until: float = float("inf"),
) -> TrackOverlay:
    """Lay the tracks over a course."""
    computed = tuple(seen(course, view, t, release) for t in footage.tracks)
    residual = tuple(t.place - c for t, c in zip(footage.tracks, computed, strict=True))
    found = track_noise(footage.tracks) if noise is None else noise
    return TrackOverlay(
        footage,
        view,
        course,
        bodies,
        release,
        computed,
        residual,
        found,
        noise is not None,
        until,
    )


def rms(residual: Array) -> float:
    """Root mean square of residuals; nan of none."""
    return float(np.sqrt(np.mean(residual**2))) if residual.size else float("nan")


def persistence(track: Track, residual: Array) -> float:
    """Return the correlation of residuals (k, 2) of a track from frame to frame, -1 to 1.

    Near 0 for noise of the tracker; near 1 where the motion itself is off. Nan with few frames.
    """
    both = np.isfinite(residual[1:] * residual[:-1]).all(axis=1)
    if both.sum() < 8:
        return float("nan")
    z = np.clip(residual / robust_loss.scale(residual[np.isfinite(residual)], 0), -3, 3)
    return float(np.sum(z[1:][both] * z[:-1][both]) / np.nansum(z[1:][both] ** 2))
