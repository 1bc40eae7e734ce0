"""The clip as a function of clip time: panes abreast, cards before and after, dark at the cuts."""

from __future__ import annotations

from dataclasses import dataclass

from PIL import Image

from snapsim.render import cards, palette, timeline
from snapsim.render.differences import differences
from snapsim.render.events import main_blow
from snapsim.render.job import ClipJob
from snapsim.render.lines import StoryLine
from snapsim.render.options import ClipOptions
from snapsim.render.pane import Pane, joint_action, subject_of
from snapsim.render.rates import Rate
from snapsim.render.readings import first_blow, impact_line
from snapsim.render.stopwatch import Stopwatch
from snapsim.render.telling import QUESTION, tell
from snapsim.render.timeline import Extras, Timeline
from snapsim.simulation.trajectory import Impact, Trajectory
from snapsim.work.held_open import HeldOpen

TITLE, CARD = 2.6, 3.0  # clip seconds
NOTHING = StoryLine(0.0, 0.0, "", "")
DIVIDER = 4  # pixels between panes in a picture of 720 lines


@dataclass(frozen=True)
class Contrast:
    """What tells panes abreast apart where their runs do not: the heading and options of each."""

    headings: tuple[str, ...]
    options: tuple[ClipOptions, ...]


class Show(HeldOpen):
    """All that stays the same through a clip; makes the frame of any clip time."""

    def __init__(self, job: ClipJob, contrast: Contrast | None = None) -> None:
        """`contrast` tells apart two showings of one run, abreast."""
        self.job, self.watch, self._contrast = job, Stopwatch(), contrast
        options = job.options
        self.timeline, self.lags = plan(job.runs, options, job.companions)
        self._size = options.width, options.height
        action = joint_action((*job.runs, *job.companions))
        count = len(job.runs)
        subjects = [
            subject_of(run, action, options, self.lags[k]) for k, run in enumerate(job.runs)
        ]
        each, headings = [options] * count, differences([run.system for run in job.runs])
        if contrast is not None:
            each, headings = list(contrast.options), list(contrast.headings)
        self._panes = [
            Pane(
                run,
                each[k],
                pane_size(self._size, count),
                self.timeline,
                action,
                subjects,
                number=k,
                lag=self.lags[k],
                companions=job.companions if k == 0 else (),
                lags=[self.lags[0] - lag for lag in self.lags[count:]],
                fellows=job.runs,
                apart=headings[k],
                watch=self.watch,
            )
            for k, run in enumerate(job.runs)
        ]
        self._cards: dict[str, Image.Image] = {}

    def close(self) -> None:
        """Give the windows back."""
        for pane in self._panes:
            pane.close()

    def frame(self, clip: float) -> Image.Image:
        """Return the frame at a clip time [s]: RGB, or RGBA where opacity is asked for."""
        piece = self.timeline.piece_at(clip)
        if piece.kind in ("title", "card"):
            frame = self._card(piece.kind).copy()
        else:
            frame = self._abreast([pane.frame(clip, piece) for pane in self._panes])
        with self.watch.stage("words"):
            return _finished(frame, self.timeline.veil_at(clip), self.job.alpha)

    def frame_times(self, fps: Rate) -> list[float]:
        """Return the clip time of every frame."""
        return self.timeline.frame_times(fps)

    def still(self, time: float, said: StoryLine | None = None) -> Image.Image:
        """Return the frame at a simulated time [s] of the first run; `said` instead of a blow, of
        two showings of one run in the first."""
        words = [said, *[said if self._contrast is None else NOTHING] * (len(self._panes) - 1)]
        clip = self.timeline.clip_at(time + self.lags[0])
        shift = time + self.lags[0]
        frames = [
            pane.still(shift - lag, clip, line)
            for pane, lag, line in zip(self._panes, self.lags, words, strict=False)
        ]
        return _finished(self._abreast(frames), 0.0, self.job.alpha)

    def _card(self, kind: str) -> Image.Image:
        if kind not in self._cards:
            runs = self.job.runs
            if kind == "title":
                self._cards[kind] = cards.title_card(self._size, tuple(r.system for r in runs))
            else:
                blow = struck(runs[0], self.job.options)
                said = (
                    impact_line(blow, runs[0].twins)
                    if blow is not None and len(runs) == 1
                    else None
                )
                self._cards[kind] = cards.end_card(self._size, said)
        return self._cards[kind]

    def _abreast(self, frames: list[Image.Image]) -> Image.Image:
        if len(frames) == 1:
            return frames[0]
        w, h = self._size
        whole = Image.new(frames[0].mode, (w, h), palette.PANEL_EDGE)
        pw, ph = pane_size(self._size, len(frames))
        across = w >= h
        for k, frame in enumerate(frames):
            step = (w - pw) / (len(frames) - 1) if across else (h - ph) / (len(frames) - 1)
            whole.paste(frame, (round(k * step), 0) if across else (0, round(k * step)))
        return whole


def pane_size(size: tuple[int, int], count: int) -> tuple[int, int]:
    """Return the size of each of `count` panes: abreast where wide, stacked where tall."""
    if count == 1:
        return size
    gap = max(2, round(DIVIDER * min(size) / 720))
    if size[0] >= size[1]:
        return (size[0] - (count - 1) * gap) // count, size[1]
    return size[0], (size[1] - (count - 1) * gap) // count


def plan(
    runs: tuple[Trajectory, ...], options: ClipOptions, companions: tuple[Trajectory, ...] = ()
) -> tuple[Timeline, list[float]]:
    """Return the clip's timeline, and by how much each run (then companion) is shown later."""
    every = (*runs, *companions)
    blows = [struck(run, options) for run in every]
    lags = [0.0] * len(every)
    if options.align == "impact":
        times = [blow.time for blow in blows if blow is not None]
        lags = [max(times) - b.time if b is not None else 0.0 for b in blows]
    if options.slow_motion is None:
        return tell(runs, lags[: len(runs)], extras_of(options), options.events), lags
    shown = [(b, lag) for b, lag in zip(blows[: len(runs)], lags, strict=False) if b is not None]
    first = min((b.time + lag for b, lag in shown), default=None)
    end = max(float(run.time[-1]) + lag for run, lag in zip(runs, lags, strict=False))
    extras = extras_of(options)
    return timeline.build(end, first, options.slow_motion, options.slow_window, extras), lags


def struck(run: Trajectory, options: ClipOptions) -> Impact | None:
    """Return the blow that a telling is about: the main one, or of one slow window the first."""
    return main_blow(run) if options.slow_motion is None else first_blow(run)


def extras_of(options: ClipOptions) -> Extras:
    """Return what is told besides the run."""
    return Extras(
        title=0.0 if not options.cards else QUESTION if options.slow_motion is None else TITLE,
        freeze=options.freeze,
        replay=options.replay is not None,
        card=CARD if options.cards and options.card else 0.0,
    )


def _finished(frame: Image.Image, veil: float, alpha: bool) -> Image.Image:
    """Darken by `veil`, and bring to the wanted kind of picture."""
    if veil > 0:
        dark = Image.new(frame.mode, frame.size, palette.BACKDROP_LOW)
        frame = Image.blend(frame, dark, veil)
    if not alpha and frame.mode == "RGBA":
        dark = Image.new("RGB", frame.size, palette.BACKDROP_LOW)
        dark.paste(frame, (0, 0), frame)
        return dark
    return frame.convert("RGBA") if alpha and frame.mode == "RGB" else frame
