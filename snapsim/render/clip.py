"""Clips and stills of a release, and pictures of a scene before it."""

from __future__ import annotations

import time as clock
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from PIL import Image

from snapsim.errors import InputError, OutputError
from snapsim.render import captions, flashes, offscreen, reel, sound, targets
from snapsim.render.board import Storyboard
from snapsim.render.board_show import board_cues, segments_of
from snapsim.render.cameras.contract import Fixed
from snapsim.render.differences import differences
from snapsim.render.finite import require_finite
from snapsim.render.formats import format_of
from snapsim.render.formats.png_sequence import srgb
from snapsim.render.interpolation import Moment
from snapsim.render.job import ClipJob
from snapsim.render.layout import lay_out
from snapsim.render.options import ClipOptions, check_options
from snapsim.render.overlay import CAUTION, ClipOverlay
from snapsim.render.picture import Picture, action_of, choose_view
from snapsim.render.readings import first_blow, impact_line
from snapsim.render.reel import FramesProgress, ReelJob
from snapsim.render.show import Show, plan
from snapsim.simulation.system import System
from snapsim.simulation.trajectory import Trajectory

Runs = Trajectory | Sequence[Trajectory]


@dataclass(frozen=True)
class ClipReport:
    """What was written: `frames`, `seconds` of clip, `size` [pixels]; `milliseconds` of wall time a
    frame drawn now, `breakdown` [ms] of it by stage, `kept` frames that an earlier, interrupted run
    had drawn; `flashes` is the most within any second."""

    path: Path
    frames: int
    seconds: float
    size: tuple[int, int]
    slow_motion: float
    milliseconds: float
    breakdown: Mapping[str, float] = field(default_factory=dict)
    kept: int = 0
    flashes: int = 0


def render_clip(
    runs: Runs,
    path: Path,
    options: ClipOptions | None = None,
    progress: FramesProgress | None = None,
    companions: Sequence[Trajectory] = (),
) -> ClipReport:
    """Write a run, or several abreast, as a clip at `path`, whose ending chooses the format.

    `companions` are other runs of the same scene, whose ways fan out; `progress` is called with
    (frames done, frames in all). Raises InputError for impossible options, OutputError for a target
    that cannot or must not be written, MissingSystemLibrary where nothing can draw. Stopped and
    called again with the same arguments it goes on, and ends in the same file.
    """
    path = Path(path)
    job = _job(runs, options or ClipOptions(), companions, path)
    offscreen.require()
    line, _ = plan(job.runs, job.options, job.companions)
    return _made(job, path, progress, line.slow_motion)


def render_story(
    board: Storyboard, path: Path, progress: FramesProgress | None = None
) -> ClipReport:
    """Write a storyboard as a film at `path`; raises and goes on as `render_clip` does."""
    path, o = Path(path), board.options
    check_options(o)
    form = format_of(path)
    why = form.problem((o.width, o.height), o.fps)
    if why is not None:
        raise InputError(why, key=form.name)
    targets.check_target(path, form.suffix, o.overwrite)
    for shot in board.shots:
        require_finite(shot.runs, shot.options.layers)
    segments = segments_of(board)
    offscreen.require()
    slowest = max((s.line.slow_motion for s in segments if s.line is not None), default=1.0)
    return _made(board, path, progress, slowest)


def _made(
    job: ReelJob, path: Path, progress: FramesProgress | None, slow_motion: float
) -> ClipReport:
    began = clock.perf_counter()
    made = reel.make(job, path, progress)
    spent = clock.perf_counter() - began
    frames, o = len(made.light), job.options
    each = 1e3 / max(made.drawn, 1)
    return ClipReport(
        path=path,
        frames=frames,
        seconds=float(frames / o.fps),
        size=(o.width, o.height),
        slow_motion=slow_motion,
        milliseconds=each * spent,
        breakdown={stage: each * s for stage, s in made.seconds.items()},
        kept=made.found,
        flashes=flashes.most_flashes(made.light, o.fps),
    )


def _job(runs: Runs, options: ClipOptions, companions: Sequence[Trajectory], path: Path) -> ClipJob:
    """Check all that can be checked before anything is drawn."""
    check_options(options)
    several = (runs,) if isinstance(runs, Trajectory) else tuple(runs)
    if not 1 <= len(several) <= 4:
        raise InputError(f"{len(several)} runs: show one to four abreast", key="runs")
    form = format_of(path)
    why = form.problem((options.width, options.height), options.fps)
    if why is not None:
        raise InputError(why, key=form.name)
    targets.check_target(path, form.suffix, options.overwrite)
    require_finite((*several, *companions), options.layers)
    return ClipJob(several, options, tuple(companions), form.alpha)


def render_still(
    runs: Runs,
    time: float,
    path: Path,
    options: ClipOptions | None = None,
    companions: Sequence[Trajectory] = (),
) -> None:
    """Write the run at simulated `time` [s] as a PNG at `path`; raises as `render_clip` does.

    Without the layer "stage" the picture is see-through.
    """
    options = options or ClipOptions()
    path = Path(path)
    check_options(options)
    targets.check_target(path, ".png", options.overwrite)
    offscreen.require()
    several = (runs,) if isinstance(runs, Trajectory) else tuple(runs)
    require_finite((*several, *companions), options.layers)
    job = ClipJob(several, options, tuple(companions), alpha="stage" not in options.layers)
    with Show(job) as show:
        _save(show.still(time), path)


def write_captions(runs: Runs, path: Path, options: ClipOptions | None = None) -> list[Path]:
    """Write PATH.srt and PATH.vtt, the captions of the clip at `path`; returns their names."""
    options, path = options or ClipOptions(), Path(path)
    several = (runs,) if isinstance(runs, Trajectory) else tuple(runs)
    return _write_tracks(_cues(several, options), path, options.overwrite)


def write_markers(runs: Runs, path: Path, options: ClipOptions | None = None) -> Path:
    """Write PATH.otio, markers of what happens when in the clip at `path`; returns its name."""
    from snapsim.render.markers import timeline_file

    options, path = options or ClipOptions(), Path(path)
    several = (runs,) if isinstance(runs, Trajectory) else tuple(runs)
    line, lags = plan(several, options)
    text = timeline_file(several, lags, line, options.fps, path)
    return _write_text(text, path.with_suffix(".otio"), options.overwrite)


def add_sound(runs: Runs, path: Path, options: ClipOptions | None = None) -> Path:
    """Put the computed sound of the clip at `path` into it, or into a WAV file beside one whose
    format has none; returns where it is."""
    options, path = options or ClipOptions(), Path(path)
    several = (runs,) if isinstance(runs, Trajectory) else tuple(runs)
    line, lags = plan(several, options)
    seconds = float(len(line.frame_times(options.fps)) / options.fps)
    made = sound.track(sound.heard(several, lags, line), seconds)
    return sound.add(made, path, options.overwrite)


def add_story_sound(board: Storyboard, path: Path) -> Path:
    """Put the computed sound of the storyboard's film at `path` into it, as `add_sound` does."""
    last = segments_of(board)[-1]
    made = sound.track(sound.heard_in(board), last.start + last.length)
    return sound.add(made, Path(path), board.options.overwrite)


def write_story_captions(board: Storyboard, path: Path) -> list[Path]:
    """Write PATH.srt and PATH.vtt of a storyboard; returns their names."""
    return _write_tracks(board_cues(board), Path(path), board.options.overwrite)


def _write_tracks(told: list[captions.Cue], path: Path, overwrite: bool) -> list[Path]:
    return [
        _write_text(text, path.with_suffix(suffix), overwrite)
        for suffix, text in ((".srt", captions.subrip(told)), (".vtt", captions.webvtt(told)))
    ]


def _write_text(text: str, target: Path, overwrite: bool) -> Path:
    targets.check_target(target, target.suffix, overwrite)
    part = targets.temporary_beside(target)
    try:
        part.write_text(text, encoding="utf-8")
        targets.put(part, target)
    except OSError as broken:
        raise OutputError(f"{target}: could not be written: {broken.strerror}") from broken
    finally:
        part.unlink(missing_ok=True)
    return target


def _cues(runs: tuple[Trajectory, ...], options: ClipOptions) -> list[captions.Cue]:
    line, lags = plan(runs, options)
    if options.slow_motion is None:
        return captions.story_cues(line, differences([run.system for run in runs]), CAUTION)
    blows = [
        (blow.time + lag, impact_line(blow, run.twins))
        for run, lag in zip(runs, lags, strict=True)
        for blow in run.impacts
        if (first := first_blow(run)) is not None
        and blow.effective_energy >= 0.25 * first.effective_energy
    ]
    return captions.cues(line, runs[0].system.title, blows, CAUTION)


def draw_scene(system: System, path: Path, options: ClipOptions | None = None) -> None:
    """Write a PNG of a scene before release at `path`; raises as `render_clip` does."""
    options = options or ClipOptions()
    path = Path(path)
    check_options(options)
    targets.check_target(path, ".png", options.overwrite)
    offscreen.require()
    layout = lay_out(options.width, options.height)
    pose = system.start.pose
    action = action_of(system, pose)
    view = choose_view(system, pose, action, layout, options.shot.view)
    words = ClipOverlay(
        layout,
        system.title,
        view.pixels_per_metre(action.centre),
        magnets=any(body.is_magnet for body in system.bodies),
        top_polarisation=0.0,
        figures=False,
    )
    moment = Moment(0.0, pose.position, pose.quaternion, system.start.velocity, 0.0, float("nan"))
    with Picture(
        system, pose, action, Fixed(view), supersample=2.0 if options.supersample else 1.0
    ) as picture:
        frame = picture.draw(moment)
    words.show(frame, [], "", None)
    _save(frame, path)


def _save(frame: Image.Image, path: Path) -> None:
    part = targets.temporary_beside(path)
    try:
        frame.save(part, format="PNG", optimize=False, pnginfo=srgb())
        targets.put(part, path)
    except OSError as broken:
        raise OutputError(f"{path}: could not be written: {broken}") from broken
    finally:
        part.unlink(missing_ok=True)
