"""How noisy a track is, from the track alone: third differences of evenly spaced places.

The third difference x_3 - 3 x_2 + 3 x_1 - x_0 of a motion whose acceleration hardly changes from
frame to frame is that of its noise, of variance (1 + 9 + 9 + 1) sigma^2 = 20 sigma^2 for
independent noise. The median of absolute values, over 0.6745, is a standard deviation that blows
and wrong places, as long as they are few, hardly move. Noise that is shared by neighbouring frames
(a smoothing tracker) is underrated.

Sources: von Neumann et al., Ann. Math. Statist. 12, 153 (1941) for variance from differences;
0.6745, the upper quartile of a normal distribution, Huber, Robust Statistics (1981), section 5.1
(both from memory).
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from snapsim.arrays import Array
from snapsim.footage.tracks import Track

LEAST = 12
"""Differences needed for an estimate."""

_MEDIAN_OF_NORMAL = 0.674489750196082


def track_noise(tracks: Sequence[Track]) -> float:
    """Return the standard deviation of a place [px], nan where the tracks are too short."""
    found = [_third_differences(t) for t in tracks]
    whole = np.concatenate([f.ravel() for f in found]) if found else np.empty(0)
    if len(whole) < 2 * LEAST:
        return float("nan")
    return float(np.median(np.abs(whole)) / _MEDIAN_OF_NORMAL / np.sqrt(20))


def _third_differences(track: Track) -> Array:
    """Third differences (d, 2) over four frames in a row that all show the point."""
    if len(track.time) < 4:
        return np.empty((0, 2))
    step = np.diff(track.time)
    even = np.abs(step - np.median(step)) < 0.01 * np.median(step)
    rows = even[:-2] & even[1:-1] & even[2:]
    third = np.diff(track.place, 3, axis=0)[rows]
    return np.asarray(third[np.isfinite(third).all(axis=1)])
