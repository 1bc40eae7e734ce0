"""Synthetic footage: what a camera and a tracker would have made of a computed run.

Frames at the camera's rate from the release on, rolling shutter and blur as in `projection`,
normal noise on each place, places dropped at random, and, if asked for, some that are wrong by tens
of pixels. All chance comes from one seed.
"""

from __future__ import annotations

import io
from dataclasses import replace

import numpy as np

from snapsim.footage.course import Course
from snapsim.footage.match_file import MakeDescription
from snapsim.footage.projection import seen
from snapsim.footage.tracks import Track
from snapsim.footage.views import FootageView

WRONG = 40.0
"""Standard deviation of a place that the tracker has wrong [px]."""


def made_tracks(
    course: Course,
    view: FootageView,
    tracks: list[Track],
    rate: float,
    release: float,
    given: MakeDescription,
) -> list[Track]:
    """Return the tracks of a course; `tracks` say which points, their times and places are new."""
    end = float(course.time[-1])
    if given.until is not None:
        end = min(end, given.until)
    first = int(np.floor(release * rate + 1e-9))
    last = int(np.floor((release + end) * rate + 1e-9))
    time = np.arange(first, last + 1) / rate
    chance = np.random.default_rng(given.seed)
    made = []
    for track in tracks:
        blank = replace(track, time=time, place=np.full((len(time), 2), np.nan))
        place = seen(course, view, blank, release)
        place = place + given.noise * chance.standard_normal(place.shape)
        wrong = chance.random(len(time)) < given.outliers
        place[wrong] += WRONG * chance.standard_normal((int(wrong.sum()), 2))
        place[chance.random(len(time)) < given.dropped] = np.nan
        made.append(replace(blank, place=place))
    return made


def tracks_csv(tracks: list[Track], rate: float) -> str:
    """Return tracks as a wide table: frame numbers, then x and y of each point; gaps are blank."""
    out = io.StringIO()
    out.write("# Synthetic footage made by snapsim from a computed run: nothing was filmed.\n")
    out.write(",".join(["frame", *(f"{t.point} {a}" for t in tracks for a in "xy")]) + "\n")
    for k, time in enumerate(tracks[0].time):
        cells = [str(round(time * rate))]
        for track in tracks:
            cells += ["" if np.isnan(v) else f"{v:.3f}" for v in track.place[k]]
        out.write(",".join(cells) + "\n")
    return out.getvalue()
