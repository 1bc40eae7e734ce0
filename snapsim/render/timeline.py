"""Clip time against simulated time: a title, real time eased into slow motion round the impact, a
freeze at it, real time again, a replay from a second camera, an end card: all of it as data.

The rate r = dt/dtau is 1 in real time and f = 1/slow_motion in the slow part; in a ramp of clip
length T it follows r(u) = 1 + (f - 1)(3u^2 - 2u^3), u = tau/T, whose integral is closed:
t = T [u + (f - 1)(u^3 - u^4/2)], so a ramp uses T (1 + f)/2 of simulated time. All times in s.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import Final, Literal

import numpy as np

from snapsim.render.lines import StoryLine
from snapsim.render.rates import Rate

OPENING_HOLD = 0.8
CLOSING_HOLD = 1.6
RAMP = 0.35
SLOW_SECONDS = (2.0, 1.6)  # clip seconds of slow motion before and after the blow, when automatic
VEIL = 0.3  # clip seconds from the picture to dark, and from dark to the next picture, at a cut
LEAST = 0.7  # shortest clip seconds between two cuts, so that nothing can flash
ROUNDING = 1e-9  # s of simulated time: sums of pieces differ by less, nothing shown by more
STEPS = (2.0, 5.0, 10.0, 20.0, 50.0, 100.0, 200.0, 500.0, 1000.0)


PieceKind = Literal[
    "title", "question", "release", "play", "hold", "freeze", "end", "replay", "rest", "card"
]
WORDS: Final[dict[str, str]] = {
    "title": "",
    "question": "",
    "release": "release",
    "hold": "real time",
    "freeze": "impact",
    "end": "end",
    "rest": "end",
    "card": "",
}


@dataclass(frozen=True)
class ClipPiece:
    """A stretch of clip: from `clip` and `sim`, `length` long; its rate goes `first` to `last`.

    `shot` is the camera's number: 0 the first telling, 1 the replay.
    """

    clip: float
    sim: float
    length: float
    first: float
    last: float
    kind: PieceKind = "play"
    shot: int = 0

    @property
    def until(self) -> float:
        """The clip time at which the piece ends."""
        return self.clip + self.length

    def sim_at(self, clip: float) -> float:
        """Return the simulated time at a clip time inside the piece."""
        if self.length == 0:
            return self.sim
        u = min(max((clip - self.clip) / self.length, 0.0), 1.0)
        return self.sim + self.length * (
            self.first * u + (self.last - self.first) * (u**3 - u**4 / 2)
        )

    def rate_at(self, clip: float) -> float:
        """Return dt/dtau at a clip time inside the piece."""
        if self.length == 0:
            return self.last
        u = min(max((clip - self.clip) / self.length, 0.0), 1.0)
        return self.first + (self.last - self.first) * (3 * u**2 - 2 * u**3)


@dataclass(frozen=True)
class Timeline:
    """The whole clip: `pieces` in order, `duration` [s], `slow_motion` times slower at most, and
    what is said meanwhile."""

    pieces: tuple[ClipPiece, ...]
    duration: float
    slow_motion: float
    lines: tuple[StoryLine, ...] = ()

    def line_at(self, clip: float, run: int = 0) -> StoryLine | None:
        """Return what is said of run number `run` at a clip time."""
        said = [line for line in self.lines if line.run == run and line.start <= clip < line.end]
        return said[-1] if said else None

    def piece_at(self, clip: float) -> ClipPiece:
        """Return the piece that a clip time falls in."""
        starts = [p.clip for p in self.pieces]
        return self.pieces[max(int(np.searchsorted(starts, clip, side="right")) - 1, 0)]

    def sim_at(self, clip: float) -> float:
        """Return the simulated time shown at clip time `clip`."""
        return self.piece_at(clip).sim_at(clip)

    def rate_at(self, clip: float) -> float:
        """Return simulated seconds per clip second: 1 real time, 0 a hold."""
        return self.piece_at(clip).rate_at(clip)

    def label_at(self, clip: float) -> str:
        """Return the words that tell the viewer how fast time runs."""
        piece = self.piece_at(clip)
        if piece.kind in WORDS:
            return WORDS[piece.kind]
        rate = piece.rate_at(clip)
        return "real time" if rate > 0.999 else f"1/{slowness_text(1 / rate)} of real time"

    def clip_at(self, sim: float, shot: int = 0) -> float:
        """Return the clip time at which the telling of a shot comes to the simulated time `sim`."""
        told = [p for p in self.pieces if p.kind in ("play", "replay") and p.shot == shot]
        piece = next((p for p in told if p.sim_at(p.until) >= sim - ROUNDING), None)
        if piece is None:
            return told[-1].until if told else self.pieces[0].until
        low, high = piece.clip, piece.until
        for _ in range(60):
            middle = (low + high) / 2
            low, high = (middle, high) if piece.sim_at(middle) < sim else (low, middle)
        return high

    def veil_at(self, clip: float) -> float:
        """Return how dark the picture is drawn, 0 to 1: it goes dark and comes back at each cut."""
        near = min((abs(clip - cut) for cut in self.cuts), default=VEIL)
        share = max(0.0, 1 - near / VEIL)
        return share * share * (3 - 2 * share)

    @property
    def cuts(self) -> list[float]:
        """The clip times between pictures that do not go on from each other."""
        return [b.clip for a, b in pairwise(self.pieces) if _parted(a, b)]

    def frame_times(self, fps: Rate) -> list[float]:
        """Return the clip time of every frame; the last one shows the end of the run."""
        return [float(k / fps) for k in range(max(1, round(self.duration * fps)))]


def slowness_text(slowness: float) -> str:
    """Return a slow-motion factor in short digits: 1.5, 20."""
    return f"{slowness:.1f}" if slowness < 9.95 and abs(slowness % 1) > 0.05 else f"{slowness:.0f}"


def automatic_slow_motion(closing_speed: float, size: float) -> float:
    """Return the slowness at which a part crosses half the picture of `size` [m] in a second."""
    if closing_speed <= 0 or size <= 0:
        return STEPS[0]
    wanted = closing_speed / (0.5 * size)
    return min(STEPS, key=lambda step: abs(np.log(step / max(wanted, 1e-9))))


@dataclass(frozen=True)
class Extras:
    """Clip seconds of what is told besides the run: `title` and `card` (the end card), `freeze` at
    the impact, and whether the impact is shown once more (`replay`); 0 and False leave it out."""

    title: float = 0.0
    freeze: float = 0.0
    replay: bool = False
    card: float = 0.0


def build(
    end: float,
    impact: float | None,
    slow_motion: float,
    window: tuple[float, float] | None = None,
    extras: Extras | None = None,
) -> Timeline:
    """Return the timeline of a run lasting `end`, slow round the time `impact` (None: real time).

    Where the run is too short before or after the window for a whole ramp, the ramp is shortened.
    """
    extras = extras or Extras()
    pieces: list[ClipPiece] = []
    if extras.title > 0:
        stand(pieces, extras.title, 0.0, "title")
    stand(pieces, OPENING_HOLD, 0.0, "release")
    if impact is None or end <= 0:
        play(pieces, end, 1.0, 1.0)
        slow_motion = 1.0
    else:
        slow_motion = max(slow_motion, 1.0)
        window = window or (SLOW_SECONDS[0] / slow_motion, SLOW_SECONDS[1] / slow_motion)
        slow = max(0.0, impact - window[0]), min(end, impact + window[1])
        _tell(pieces, end, impact, 1 / slow_motion, slow, extras.freeze)
    stand(pieces, CLOSING_HOLD, end, "end")
    if extras.replay and impact is not None and slow[1] > slow[0]:
        _tell_again(pieces, slow, impact, 1 / slow_motion, extras.freeze)
    if extras.card > 0:
        stand(pieces, extras.card, pieces[-1].sim_at(pieces[-1].until), "card")
    return Timeline(tuple(pieces), pieces[-1].until, slow_motion)


def _tell(
    pieces: list[ClipPiece],
    end: float,
    impact: float,
    f: float,
    slow: tuple[float, float],
    freeze: float,
) -> None:
    """The run once: real time, eased down to the rate `f`, the impact, and back."""
    use = RAMP * (1 + f) / 2 if f < 1 else 0.0
    ramp_from, ramp_to = max(0.0, slow[0] - use), min(end, slow[1] + use)
    play(pieces, ramp_from, 1.0, 1.0)
    play(pieces, slow[0] - ramp_from, 1.0, f)
    if freeze > 0:
        play(pieces, impact - slow[0], f, f)
        stand(pieces, freeze, impact, "freeze")
        play(pieces, slow[1] - impact, f, f)
    else:
        play(pieces, slow[1] - slow[0], f, f)
    play(pieces, ramp_to - slow[1], f, 1.0)
    play(pieces, end - ramp_to, 1.0, 1.0)


def _tell_again(
    pieces: list[ClipPiece], slow: tuple[float, float], impact: float, f: float, freeze: float
) -> None:
    """The slow part once more, for the second camera; as long as it must be not to flash."""
    first, last = slow
    f = min(f, (last - first) / LEAST)
    start = len(pieces)
    pieces.append(ClipPiece(pieces[-1].until, first, 0.0, f, f, "replay", 1))
    if freeze > 0:
        play(pieces, impact - first, f, f, "replay", 1)
        stand(pieces, 0.6 * freeze, impact, "freeze", 1)
        play(pieces, last - impact, f, f, "replay", 1)
    else:
        play(pieces, last - first, f, f, "replay", 1)
    stand(pieces, 0.5, last, "end", 1)
    del pieces[start]


def play(
    pieces: list[ClipPiece],
    simulated: float,
    first: float,
    last: float,
    kind: PieceKind = "play",
    shot: int = 0,
) -> None:
    """Add a piece that shows `simulated` seconds; its mean rate is (first + last) / 2."""
    if simulated <= 0:
        return
    previous = pieces[-1]
    length = 2 * simulated / (first + last)
    sim = previous.sim_at(previous.until)
    pieces.append(ClipPiece(previous.until, sim, length, first, last, kind, shot))


def stand(
    pieces: list[ClipPiece], length: float, sim: float, kind: PieceKind, shot: int = 0
) -> None:
    """Add a piece in which simulated time stands."""
    at = pieces[-1].until if pieces else 0.0
    pieces.append(ClipPiece(at, sim, length, 0.0, 0.0, kind, shot))


def _parted(a: ClipPiece, b: ClipPiece) -> bool:
    """Does one picture end and an unlike one begin between two pieces?"""
    jumps = abs(b.sim - a.sim_at(a.until)) > ROUNDING
    return a.shot != b.shot or a.kind == "title" or b.kind == "card" or jumps
