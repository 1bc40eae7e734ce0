"""From files to an overlay: footage and scene (or run file) read, checked against each other."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from snapsim.errors import InputError
from snapsim.footage.building import unit_of, view_of
from snapsim.footage.course import Course, course_of
from snapsim.footage.match_file import MatchFile
from snapsim.footage.overlay import TrackOverlay, overlay
from snapsim.footage.reading import footage_from
from snapsim.footage.synthetic import made_tracks, tracks_csv
from snapsim.footage.table import read_table
from snapsim.footage.tracks import Footage, Track
from snapsim.footage.views import FootageView
from snapsim.parts.bodies import Body
from snapsim.simulation.system import System, find_body
from snapsim.simulation.trajectory import Trajectory


@dataclass(frozen=True)
class Filmed:
    """Footage with its view; `unit` is that of places: "px" or a length."""

    footage: Footage
    view: FootageView
    unit: str


def read_footage(path: str, match: MatchFile, match_path: str, bodies: Sequence[str]) -> Filmed:
    """Read tracks as the match file says; raises InputError in one line."""
    table = read_table(path)
    unit = unit_of(table)
    view = view_of(match, match_path, unit)
    return Filmed(footage_from(table, match, bodies), view, unit)


def require_long_enough(filmed: Filmed, match: MatchFile, end: float, file: str, kept: str) -> None:
    """Raise InputError where the tracks outlast what is computed; `kept` names its length."""
    last = filmed.footage.last - match.time.release
    until = match.fitting.until
    needed = last if until is None else min(last, until)
    if needed > end + 1e-9:
        raise InputError(
            f"tracks go on until {needed:.4g} s after release, the run only until {end:.4g} s;"
            f" {kept}, or cut the tracks (end under [time], --until)",
            file=file,
            key="run.duration",
        )
    if last < 0:
        raise InputError(
            f"all tracks end {-last:.4g} s before the release at {match.time.release:.4g} s",
            file=filmed.footage.file,
            key="time.release",
        )


def lay_over(filmed: Filmed, match: MatchFile, run: Trajectory) -> TrackOverlay:
    """Lay footage over a run."""
    return lay_course(filmed, match, course_of(run), run.system.bodies)


def lay_course(
    filmed: Filmed, match: MatchFile, course: Course, bodies: tuple[Body, ...]
) -> TrackOverlay:
    """Lay footage over a course."""
    until = np.inf if match.fitting.until is None else match.fitting.until
    given = (match.time.release, match.fitting.noise, until)
    return overlay(filmed.footage, filmed.view, course, bodies, *given)


def as_long_as(scene: System, filmed: Filmed, match: MatchFile) -> System:
    """Return the scene with its run no longer than the tracks."""
    end = filmed.footage.last - match.time.release + filmed.view.exposure
    end += filmed.view.line_time * max(filmed.view.size[1], 0.0)
    if match.fitting.until is not None:
        end = min(end, match.fitting.until)
    return replace(scene, duration=min(scene.duration, max(end, 1e-4)))


def make_tracks(run: Trajectory, match: MatchFile, match_path: str) -> str:
    """Return synthetic footage of a run as CSV; raises InputError for what is missing."""
    rate = match.time.frame_rate
    if rate is None:
        raise InputError(
            'is missing; give frame_rate = "240 Hz" under [time], or --fps 240',
            file=match_path,
            key="time.frame_rate",
        )
    names = [b.name for b in run.system.bodies]
    tracks = []
    for k, given in enumerate(match.track):
        find_body(given.body, names, match_path, f"track[{k + 1}].body")
        empty = np.empty(0), np.empty((0, 2))
        tracks.append(
            Track(given.point or f"point {k + 1}", given.body, np.array(given.at), *empty)
        )
    if not tracks:
        raise InputError("is missing: the points to follow", file=match_path, key="track")
    view = view_of(match, match_path)
    made = made_tracks(course_of(run), view, tracks, rate, match.time.release, match.make)
    if not any(t.seen for t in made):
        raise InputError("sees none of the points", file=match_path, key="view")
    return tracks_csv(made, rate)
