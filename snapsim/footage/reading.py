"""From a table to tracks: which column is which, frames to seconds, points to bodies."""

from __future__ import annotations

import re
from collections.abc import Sequence

import numpy as np

from snapsim.arrays import Array, BoolArray
from snapsim.errors import InputError, suggest
from snapsim.footage.match_file import MatchFile, TrackDescription
from snapsim.footage.table import TrackTable
from snapsim.footage.tracks import Footage, Track
from snapsim.simulation.system import find_body

_SECONDS = {"s": 1.0, "ms": 1e-3, "us": 1e-6, "µs": 1e-6, "sec": 1.0, "seconds": 1.0}
_TIMES = ("t", "time", "frame", "frames", "n", "frame number")
_POINTS = ("point", "mark", "track", "name", "label")
_AXIS = re.compile(r"(.*?)[ ._-]*([xy])(\d*)", re.IGNORECASE)


def footage_from(table: TrackTable, match: MatchFile, bodies: Sequence[str]) -> Footage:
    """Return the tracks of a table; raises InputError in one line for all that is wrong."""
    time = _times(table, match)
    points = _points(table, match)
    if not match.track:
        raise InputError(
            "says of no point what it follows; give [[track]] in the match file, or"
            ' --point "NAME=BODY: x, y, z mm"',
            file=table.file,
            key="track",
        )
    tracks = [_track(table, match, t, time, points, bodies) for t in match.track]
    return Footage(tuple(tracks), table.file, table.source)


def point_names(table: TrackTable, match: MatchFile) -> list[str]:
    """Return the names of the points in a table, in order."""
    return list(_points(table, match))


Where = tuple[int, int, BoolArray]
"""Columns of x and y, and the rows of a point."""


def _points(table: TrackTable, match: MatchFile) -> dict[str, Where]:
    """The points of a table: long, with a column that names them, or wide."""
    folded = [h.casefold() for h in table.headings]
    everywhere = np.ones(len(table.rows), bool)
    given = {
        t.point or f"{t.columns[0]}, {t.columns[1]}": (
            table.column(t.columns[0]), table.column(t.columns[1]), everywhere,
        )
        for t in match.track
        if t.columns is not None
    }  # fmt: skip
    named = next((folded.index(p) for p in _POINTS if p in folded), None)
    if named is not None and "x" in folded and "y" in folded:
        texts = table.texts(named)
        x, y = folded.index("x"), folded.index("y")
        return given | {
            name: (x, y, np.array([t == name for t in texts])) for name in dict.fromkeys(texts)
        }
    return given | _wide(table, folded, everywhere)


def _wide(table: TrackTable, folded: list[str], everywhere: BoolArray) -> dict[str, Where]:
    """Pairs of columns "rim x", "rim y"; of a table of three columns without a heading, the last
    two."""
    stems: dict[str, dict[str, int]] = {}
    for i, heading in enumerate(table.headings):
        match = _AXIS.fullmatch(heading)
        if match is not None:
            stems.setdefault(f"{match[1]}{match[3]}", {}).setdefault(match[2].lower(), i)
    pairs = {k or "point": (v["x"], v["y"], everywhere) for k, v in stems.items() if len(v) == 2}
    if not pairs and folded == ["1", "2", "3"]:
        return {"point": (1, 2, everywhere)}
    return pairs


def _times(table: TrackTable, match: MatchFile) -> Array:
    """Times of all rows (k,) [s]."""
    given = match.time
    column = _time_column(table, given.column)
    heading, unit = table.headings[column], given.unit or table.units[column]
    values = table.numbers(column)
    if not np.isfinite(values).all():
        line = table.lines[int(np.flatnonzero(~np.isfinite(values))[0])]
        raise InputError(
            "is a gap; each line needs its time or frame",
            file=table.file,
            key=f'line {line}, column "{heading}"',
        )
    if unit in _SECONDS:
        return values * _SECONDS[unit]
    if unit not in ("", "frame", "frames"):
        raise InputError(
            f'"{unit}" is no unit of time; allowed: s, ms, us, frame',
            file=table.file,
            key=f'column "{heading}"',
        )
    if given.frame_rate is not None:
        return values / given.frame_rate
    raise _no_seconds(table, heading, counts=bool(unit) or heading.casefold() not in ("t", "time"))


def _no_seconds(table: TrackTable, heading: str, *, counts: bool) -> InputError:
    """What is missing to have seconds: a unit or, where the column counts frames, their rate."""
    if counts:
        return InputError(
            f'column "{heading}" counts frames, and their rate is missing; give frame_rate ='
            ' "240 Hz" under [time], or --fps 240',
            file=table.file,
            key="time.frame_rate",
        )
    return InputError(
        f'column "{heading}" has no unit; head it "{heading} [s]", or give unit = "s" under'
        " [time], or a frame rate (--fps 240) where it counts frames",
        file=table.file,
        key="time.unit",
    )


def _time_column(table: TrackTable, given: str | None) -> int:
    if given is not None:
        return table.column(given)
    folded = [h.casefold() for h in table.headings]
    for name in _TIMES:
        if name in folded:
            return folded.index(name)
    if folded == ["1", "2", "3"]:
        return 0
    there = ", ".join(f'"{h}"' for h in table.headings)
    raise InputError(
        f"no column of times or frames is known by its name among {there}; name it under [time],"
        ' column = "..."',
        file=table.file,
        key="time.column",
    )


def _track(
    table: TrackTable,
    match: MatchFile,
    given: TrackDescription,
    time: Array,
    points: dict[str, Where],
    bodies: Sequence[str],
) -> Track:
    name = given.point or (f"{given.columns[0]}, {given.columns[1]}" if given.columns else None)
    if name is None and len(points) == 1:
        name = next(iter(points))
    if name is None or name not in points:
        wrong = "names no point" if name is None else f'"{name}" is no point of {table.file}'
        raise InputError(f"{wrong}{suggest(name or '', points)}", file=table.file, key="track")
    find_body(given.body, bodies, table.file, f'track "{name}"')
    x, y, rows = points[name]
    place = np.stack([table.numbers(x), table.numbers(y)], axis=1)[rows]
    times = time[rows]
    _require_increasing(times, np.array(table.lines)[rows], name, table.file)
    kept = _kept(times, match)
    place[np.isnan(place).any(axis=1)] = np.nan
    track = Track(name, given.body, np.array(given.at), times[kept], place[kept], given.weight)
    if track.seen < 2:
        said = "is lost in all frames" if track.seen == 0 else "is seen in one frame only"
        raise InputError(f"{said}; at least 2 are due", file=table.file, key=f'track "{name}"')
    return track


def _kept(times: Array, match: MatchFile) -> BoolArray:
    low = -np.inf if match.time.begin is None else match.time.begin
    high = np.inf if match.time.end is None else match.time.end
    return np.asarray((times >= low) & (times <= high))


def _require_increasing(times: Array, lines: Array, name: str, file: str) -> None:
    back = np.flatnonzero(np.diff(times) <= 0)
    if len(back):
        k = int(back[0])
        raise InputError(
            f'times of "{name}" do not increase: {times[k + 1]:.6g} s after {times[k]:.6g} s',
            file=file,
            key=f"line {lines[k + 1]}",
        )
