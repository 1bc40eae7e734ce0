"""Clips and stills of a release, and pictures of a scene before it."""

from __future__ import annotations

import time as clock
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from PIL import Image

from snapsim.errors import OutputError
from snapsim.parts.states import Pose
from snapsim.render import encoder, offscreen, timeline
from snapsim.render.framing import Action, find_action, leading_part
from snapsim.render.interpolation import Moment, sample
from snapsim.render.options import ClipOptions, check_options
from snapsim.render.overlay import Overlay, lay_out
from snapsim.render.picture import Picture, action_of, choose_view
from snapsim.render.readings import Scales, choose_scales, first_blow, impact_line, readings
from snapsim.render.timeline import Timeline
from snapsim.simulation.system import System
from snapsim.simulation.trajectory import Trajectory

BLOW_SHOWN = 3.0  # clip seconds for which the first blow's figures stay
Progress = Callable[[int, int], None]


@dataclass(frozen=True)
class ClipReport:
    """What was written: `frames`, `seconds` of clip, `size` [pixels], `milliseconds` a frame."""

    path: Path
    frames: int
    seconds: float
    size: tuple[int, int]
    slow_motion: float
    milliseconds: float


def render_clip(
    trajectory: Trajectory,
    path: Path,
    options: ClipOptions | None = None,
    progress: Progress | None = None,
) -> ClipReport:
    """Write the run as an MP4 at `path`; `progress` is called with (frames done, frames in all).

    Raises InputError for impossible options, OutputError for a target that cannot or must not be
    written, MissingSystemLibrary where nothing can draw.
    """
    options = options or ClipOptions()
    path = Path(path)
    check_options(options)
    encoder.check_target(path, ".mp4", options.overwrite)
    offscreen.require()
    size = options.width, options.height
    with _Show(trajectory, options) as show, encoder.Encoder(path, size, options.fps) as film:
        moments = show.timeline.frame_times(options.fps)
        began = clock.perf_counter()
        for k, clip_time in enumerate(moments):
            film.write(np.asarray(show.frame(clip_time)))
            if progress is not None:
                progress(k + 1, len(moments))
        spent = clock.perf_counter() - began
    return ClipReport(
        path,
        len(moments),
        len(moments) / options.fps,
        size,
        show.timeline.slow_motion,
        1e3 * spent / len(moments),
    )


def render_still(
    trajectory: Trajectory, time: float, path: Path, options: ClipOptions | None = None
) -> None:
    """Write the run at simulated `time` [s] as a PNG at `path`; raises as `render_clip` does."""
    options = options or ClipOptions()
    path = Path(path)
    check_options(options)
    encoder.check_target(path, ".png", options.overwrite)
    offscreen.require()
    with _Show(trajectory, options) as show:
        _save(show.still(time), path)


def draw_scene(system: System, path: Path, options: ClipOptions | None = None) -> None:
    """Write a PNG of a scene before release at `path`; raises as `render_clip` does."""
    options = options or ClipOptions()
    path = Path(path)
    check_options(options)
    encoder.check_target(path, ".png", options.overwrite)
    offscreen.require()
    layout = lay_out(options.width, options.height)
    pose = system.start.pose
    action = action_of(system, pose)
    view = choose_view(system, pose, action, layout, options.view)
    words = Overlay(
        layout,
        system.title,
        view.pixels_per_metre(action.centre),
        magnets=any(body.is_magnet for body in system.bodies),
        top_polarisation=0.0,
        figures=False,
    )
    moment = Moment(0.0, pose.position, pose.quaternion, system.start.velocity, 0.0, float("nan"))
    with Picture(
        system, pose, action, view, supersample=options.supersample, ghost=False
    ) as picture:
        frame = picture.draw(moment)
    words.show(frame, [], "", None)
    _save(frame, path)


class _Show:
    """All that stays the same through a clip; makes the frame of any clip time."""

    def __init__(self, trajectory: Trajectory, options: ClipOptions) -> None:
        self._trajectory = trajectory
        system, t = trajectory.system, trajectory
        self._part = leading_part(system, t.velocity)
        self._action = find_action(system, t.position, t.quaternion, self._part)
        self.timeline = plan(trajectory, options, self._action)
        self._scales: Scales = choose_scales(trajectory, self.timeline.slow_motion)
        layout = lay_out(options.width, options.height)
        pose = Pose(t.position[0], t.quaternion[0])
        view = choose_view(system, pose, self._action, layout, options.view)
        arrows = t.magnetisation if options.arrows else {}
        trail = (t.time, t.position[:, self._part]) if self._part is not None else None
        self._picture = Picture(
            system,
            pose,
            self._action,
            view,
            supersample=options.supersample,
            trail=trail,
            cells={n: c for n, c in t.cells.items() if n in arrows},
            magnetisation=arrows,
            parted={n: load.parted for n, load in t.loads.items() if not np.isnan(load.parted)},
        )
        self._picture.narrow(self._action.redrawn)
        self._words = Overlay(
            layout,
            system.title,
            view.pixels_per_metre(self._action.centre),
            magnets=any(body.is_magnet for body in system.bodies),
            top_polarisation=self._picture.top_polarisation,
        )
        self._blow = first_blow(trajectory)
        self._drawn: tuple[float, Image.Image] | None = None

    def __enter__(self) -> _Show:
        return self

    def __exit__(self, *reason: object) -> None:
        self._picture.__exit__(None, None, None)

    def frame(self, clip_time: float) -> Image.Image:
        """Return the frame at a clip time [s]."""
        line = self.timeline
        now = line.sim_at(clip_time)
        return self._compose(now, line.label_at(clip_time), self._blow_at(clip_time, now))

    def still(self, time: float) -> Image.Image:
        """Return the frame at a simulated time [s]."""
        blow = self._blow if self._blow is not None and self._blow.time <= time else None
        return self._compose(time, "", impact_line(blow) if blow else None)

    def _blow_at(self, clip_time: float, now: float) -> str | None:
        """The first blow's line while it is news: BLOW_SHOWN clip seconds, and in the last hold."""
        if self._blow is None or now < self._blow.time:
            return None
        earlier = self.timeline.sim_at(max(0.0, clip_time - BLOW_SHOWN))
        ended = self.timeline.label_at(clip_time) == "END"
        return impact_line(self._blow) if earlier < self._blow.time or ended else None

    def _compose(self, now: float, pace: str, blow: str | None) -> Image.Image:
        moment = sample(self._trajectory, now)
        if self._drawn is None or self._drawn[0] != moment.time:  # a hold is drawn once
            if self._part is not None:
                self._picture.show_trail(moment.time, moment.position[self._part])
            self._drawn = moment.time, self._picture.draw(moment)
        frame = self._drawn[1].copy()
        self._words.show(frame, readings(moment, self._part, self._scales), pace, blow)
        return frame


def plan(trajectory: Trajectory, options: ClipOptions, action: Action) -> Timeline:
    """Return the clip's timeline: slow round the first impact, times counted from release."""
    blow = first_blow(trajectory)
    slow = options.slow_motion
    if slow is None:
        slow = timeline.automatic_slow_motion(blow.closing_speed, action.size) if blow else 1.0
    return timeline.build(
        float(trajectory.time[-1]), blow.time if blow else None, slow, options.slow_window
    )


def _save(frame: Image.Image, path: Path) -> None:
    part = encoder.temporary_beside(path)
    try:
        frame.save(part, format="PNG", optimize=False)
        part.replace(path)
    except OSError as broken:
        raise OutputError(f"{path}: could not be written: {broken}") from broken
    finally:
        part.unlink(missing_ok=True)
