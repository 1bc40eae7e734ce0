"""What a camera sees of a course: places of marked points, row by row, over the exposure.

Row r of the picture of a frame at t is exposed from t + r T to t + r T + E, with T the line time
and E the exposure; a tracker finds the middle of the smear, taken as the mean place over the
exposure (Gauss-Legendre, 3 points). The row is where the point is seen, or, where nothing was
tracked yet, where it is computed to be (a few rounds of substitution, as T times the point's speed
in rows is far below 1).
"""

from __future__ import annotations

import numpy as np

from snapsim.arrays import Array
from snapsim.footage.course import Course
from snapsim.footage.tracks import Track
from snapsim.footage.views import FootageView

_NODE, _SHARE = np.polynomial.legendre.leggauss(3)


def seen(
    course: Course, view: FootageView, track: Track, release: float, delay: float = 0.0
) -> Array:
    """Return where a track's point is computed to be seen (k, 2) [px].

    `release` [s] is when, in the footage, the parts were let go; `delay` [s] lets everything from
    the first blow on come later, as where the blow itself came later.
    """
    rows = np.zeros(len(track.time))
    if view.line_time == 0:
        return _at_rows(course, view, track, release, delay, rows)
    tracked = np.isfinite(track.place).all(axis=1)
    rows[tracked] = view.row(track.place[tracked])
    for _ in range(1 if tracked.all() else 4):
        places = _at_rows(course, view, track, release, delay, rows)
        rows = np.where(tracked, rows, view.row(places))
    return places


def _at_rows(
    course: Course, view: FootageView, track: Track, release: float, delay: float, rows: Array
) -> Array:
    begin = track.time - release + view.line_time * rows
    if view.exposure == 0:
        return _places(course, view, track, begin, delay)
    times = begin[:, None] + 0.5 * view.exposure * (1 + _NODE)
    places = _places(course, view, track, times, delay)
    return np.asarray(np.einsum("kej,e->kj", places, 0.5 * _SHARE))


def _places(course: Course, view: FootageView, track: Track, times: Array, delay: float) -> Array:
    if delay and len(course.blows):
        first = course.blows[0]
        times = np.where(times < first + delay, np.minimum(times, first), times - delay)
    return view.project(course.places(track.body, track.mark, times))
