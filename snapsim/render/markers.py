"""Markers for an editor: what happens when in a clip, as an OpenTimelineIO file (.otio).

One track with the clip; a marker where each telling comes to a release, a lift-off, a blow, a rest,
and to what else is told. Times are whole frames at the clip's own rate.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Final

import opentimelineio as otio

from snapsim.render.events import Event, EventKind, find_events
from snapsim.render.lines import line_of
from snapsim.render.rates import Rate
from snapsim.render.timeline import Timeline
from snapsim.simulation.trajectory import Trajectory

COLOURS: Final = {
    EventKind.RELEASE: "GREEN",
    EventKind.LIFT_OFF: "CYAN",
    EventKind.DRIFTING: "CYAN",
    EventKind.BRAKING: "CYAN",
    EventKind.IMPACT: "RED",
    EventKind.BLOW: "ORANGE",
    EventKind.REST: "BLUE",
}


def markers_of(
    runs: Sequence[Trajectory], lags: Sequence[float], line: Timeline, rate: Rate
) -> list[otio.schema.Marker]:
    """Return a marker for each event of each run in each telling that comes to it."""
    shots = sorted({p.shot for p in line.pieces if p.kind in ("play", "replay")})
    found = []
    for run, lag in zip(runs, lags, strict=True):
        for event in find_events(run):
            for shot in shots:
                if not _shown(line, event.start + lag, shot):
                    continue
                frame = round(line.clip_at(event.start + lag, shot) * rate)
                found.append(_marker(event, run, frame, float(rate)))
    return sorted(found, key=lambda marker: marker.marked_range.start_time.value)


def _marker(event: Event, run: Trajectory, frame: int, rate: float) -> otio.schema.Marker:
    said = line_of(event, run)
    moment = otio.opentime.TimeRange(
        otio.opentime.RationalTime(frame, rate), otio.opentime.RationalTime(0, rate)
    )
    told = {
        "run_time_s": event.start,
        "scene": run.system.title,
        "words": " ".join(said or ()).replace("\u00a0", " "),
    }
    return otio.schema.Marker(
        name=str(event.kind),
        color=COLOURS.get(event.kind, "YELLOW"),
        marked_range=moment,
        metadata={"snapsim": told},
    )


def _shown(line: Timeline, sim: float, shot: int) -> bool:
    """Does a telling come to the simulated time?"""
    told = [p for p in line.pieces if p.shot == shot and p.kind in ("play", "replay")]
    return any(p.sim <= sim <= p.sim_at(p.until) + 1e-9 for p in told)


def timeline_file(
    runs: Sequence[Trajectory], lags: Sequence[float], line: Timeline, rate: Rate, clip: Path
) -> str:
    """Return the text of an .otio file for the clip at `clip`."""
    frames = len(line.frame_times(rate))
    whole = otio.opentime.TimeRange(
        otio.opentime.RationalTime(0, float(rate)), otio.opentime.RationalTime(frames, float(rate))
    )
    media = otio.schema.ExternalReference(target_url=clip.name, available_range=whole)
    shown = otio.schema.Clip(name=clip.stem, media_reference=media, source_range=whole)
    shown.markers.extend(markers_of(runs, lags, line, rate))
    track = otio.schema.Track(name="picture", kind=otio.schema.TrackKind.Video)
    track.append(shown)
    timeline = otio.schema.Timeline(name=clip.stem)
    timeline.tracks.append(track)
    return str(otio.adapters.write_to_string(timeline, "otio_json"))
