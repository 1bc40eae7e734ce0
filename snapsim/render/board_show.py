"""A storyboard as a function of clip time: which shot it is, and its frame."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from PIL import Image, ImageDraw

from snapsim.render import cards, palette
from snapsim.render.board import BoardKind, BoardShot, Part, Storyboard, fitted_to, sized
from snapsim.render.captions import Cue, story_cues
from snapsim.render.differences import differences
from snapsim.render.film_words import FilmWords, put_line
from snapsim.render.job import ClipJob
from snapsim.render.layout import lay_out_film
from snapsim.render.lines import StoryLine
from snapsim.render.rates import Rate
from snapsim.render.show import Contrast, Show, plan
from snapsim.render.stopwatch import Stopwatch
from snapsim.render.timeline import VEIL, Timeline
from snapsim.simulation.trajectory import Trajectory
from snapsim.work.held_open import HeldOpen

DEFAULT_SECONDS: Final = {
    BoardKind.STILL: 4.0,
    BoardKind.PICTURE: 5.0,
    BoardKind.TITLE: 2.5,
    BoardKind.PAUSE: 1.0,
    BoardKind.CAUTION: 3.5,
}
MOST_NAMED: Final = 2
"""Free parts that a heading names."""


@dataclass(frozen=True)
class Segment:
    """A shot on the film's clock: from `start`, `length` clip seconds, its own from `inner` on."""

    shot: BoardShot
    start: float
    length: float
    inner: float = 0.0
    line: Timeline | None = None


def segments_of(board: Storyboard) -> tuple[Segment, ...]:
    """Return the shots of a board one after another."""
    shots = list(sized(board))
    spans = [_span(shot) for shot in shots]
    lengths = [span[1] for span in spans]
    if board.length is not None:
        lengths = fitted_to(shots, lengths, board.length)
    found, at = [], 0.0
    for shot, span, seconds in zip(shots, spans, lengths, strict=True):
        found.append(Segment(shot, at, seconds, span[0], span[2]))
        at += seconds
    return tuple(found)


def _span(shot: BoardShot) -> tuple[float, float, Timeline | None]:
    """Where a shot begins in its own film, how long it is, and that film."""
    if shot.kind != BoardKind.RUN:
        return 0.0, shot.seconds or DEFAULT_SECONDS[shot.kind], None
    line, _ = plan(shot.runs, shot.options)
    pieces = [p for p in line.pieces if p.kind != "card"]
    if shot.part == Part.REAL:
        pieces = [p for p in pieces if p.shot == 0]
    if shot.part == Part.SLOW:
        pieces = [p for p in pieces if p.shot == 1] or pieces
    return pieces[0].clip, pieces[-1].until - pieces[0].clip, line


def board_cues(board: Storyboard) -> list[Cue]:
    """Return the captions of a board: those of its films at their times, the words of the rest."""
    found = []
    for segment in segments_of(board):
        shot, until = segment.shot, segment.start + segment.length
        if segment.line is not None:
            titles = differences([run.system for run in shot.runs])
            shift = segment.start - segment.inner
            inside = [
                Cue(c.start + shift, min(c.end + shift, until), c.text)
                for c in story_cues(segment.line, titles, "")
                if c.text and segment.inner <= c.start < segment.inner + segment.length
            ]
            found += inside
            continue
        said = StoryLine(0.0, 0.0, shot.number, shot.words).text
        said = " ".join(cards.CAUTION_LINES) if shot.kind == BoardKind.CAUTION else said
        if said:
            found.append(Cue(segment.start, until, said))
    return found


class BoardShow(HeldOpen):
    """Makes the frame of any clip time of a storyboard; one shot's windows are open at a time."""

    def __init__(self, board: Storyboard) -> None:
        self.job, self.watch = board, Stopwatch()
        self.segments = segments_of(board)
        self.duration = self.segments[-1].start + self.segments[-1].length
        self._open: tuple[int, Show] | None = None
        self._standing: tuple[int, Image.Image] | None = None

    def close(self) -> None:
        """Give the windows back."""
        if self._open is not None:
            self._open[1].close()
            self._open = None

    def frame_times(self, fps: Rate) -> list[float]:
        """Return the clip time of every frame."""
        return [float(k / fps) for k in range(max(1, round(self.duration * fps)))]

    def frame(self, clip: float) -> Image.Image:
        """Return the frame at a clip time [s]."""
        starts = [segment.start for segment in self.segments]
        number = max(int(np.searchsorted(starts, clip + 1e-9, side="right")) - 1, 0)
        segment = self.segments[number]
        inside = min(max(clip - segment.start, 0.0), segment.length)
        if segment.shot.kind == BoardKind.RUN:
            frame = self._film(number, segment).frame(segment.inner + inside)
        else:
            frame = self._still(number, segment).copy()
        return darkened(frame, self._veil(clip))

    def _veil(self, clip: float) -> float:
        """How dark it is at the cuts between shots."""
        cuts = [segment.start for segment in self.segments[1:]]
        share = max(0.0, 1 - min((abs(clip - cut) for cut in cuts), default=VEIL) / VEIL)
        return share * share * (3 - 2 * share)

    def _film(self, number: int, segment: Segment) -> Show:
        if self._open is None or self._open[0] != number:
            self.close()
            show = Show(ClipJob(segment.shot.runs, segment.shot.options))
            show.watch = self.watch
            self._open = number, show
        return self._open[1]

    def _still(self, number: int, segment: Segment) -> Image.Image:
        if self._standing is None or self._standing[0] != number:
            self.close()
            self._standing = number, standing(segment.shot)
        return self._standing[1]


def standing(shot: BoardShot) -> Image.Image:
    """Return the one picture of a shot that stands."""
    o = shot.options
    size = o.width, o.height
    if shot.kind == BoardKind.STILL:
        told = shot.number or shot.words
        said = StoryLine(0.0, 0.0, shot.number, shot.words) if told else None
        twice, contrast = _with_and_without(shot) if shot.alone is not None else (shot.runs, None)
        with Show(ClipJob(twice, o), contrast) as show:
            return show.still(shot.time, said)
    if shot.kind == BoardKind.CAUTION:
        return cards.end_card(size, None)
    whole, _, _ = cards.blank(size)
    if shot.kind == BoardKind.PICTURE and shot.picture is not None:
        _lay(whole, Image.fromarray(shot.picture))
    if shot.kind == BoardKind.PAUSE:
        return Image.new("RGB", size, palette.BACKDROP_LOW)
    layout = lay_out_film(*size)
    words = FilmWords(layout, shown=frozenset({"caution"}))
    words.show(whole, None, "")
    if shot.number or shot.words:
        wide = replace(layout, words=_title_box(size)) if shot.kind == BoardKind.TITLE else layout
        put_line(ImageDraw.Draw(whole), wide, StoryLine(0.0, 0.0, shot.number, shot.words))
    return whole


def _with_and_without(shot: BoardShot) -> tuple[tuple[Trajectory, ...], Contrast]:
    """The run of a still twice, and what sets the second apart: its free parts are not there."""
    run, o = shot.runs[0], shot.options
    free = [body.name for body in run.system.bodies if not body.fixed]
    told = "the " + " and ".join(free) if len(free) <= MOST_NAMED else "the parts"
    bare = replace(o, layers=shot.alone or frozenset(), bodies="alone")
    pronoun = "it" if len(free) == 1 else "them"
    return (run, run), Contrast((f"with {told}", f"without {pronoun}"), (o, bare))


def _title_box(size: tuple[int, int]) -> tuple[int, int, int, int]:
    w, h = size
    return round(0.05 * w), round(0.2 * h), round(0.95 * w), round(0.75 * h)


def _lay(whole: Image.Image, picture: Image.Image) -> None:
    """Lay a picture where the scene would be, as large as it fits."""
    layout = lay_out_film(*whole.size)
    left, top, right, bottom = layout.scene
    share = min((right - left) / picture.width, (bottom - top) / picture.height)
    small = picture.convert("RGB").resize(
        (max(1, round(share * picture.width)), max(1, round(share * picture.height))),
        Image.Resampling.LANCZOS,
    )
    place = (left + right - small.width) // 2, (top + bottom - small.height) // 2
    whole.paste(small, place)


def darkened(frame: Image.Image, veil: float) -> Image.Image:
    """Return a frame blended toward the dark by `veil`, 0 to 1."""
    if veil <= 0:
        return frame
    return Image.blend(frame, Image.new(frame.mode, frame.size, palette.BACKDROP_LOW), veil)
