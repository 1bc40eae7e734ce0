"""A storyboard: shots of runs, stills, pictures, titles and pauses joined to one film, as data."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import Final

from snapsim.arrays import ByteArray
from snapsim.errors import InputError
from snapsim.render.options import ClipOptions
from snapsim.simulation.trajectory import Trajectory

SHORTEST: Final = 1.0
"""Clip seconds of the shortest shot that stands still."""


class BoardKind(StrEnum):
    """What a shot is made from; the value is its key in a file."""

    RUN = "run"
    """One run, or several abreast."""
    STILL = "still"
    """A moment of a run."""
    PICTURE = "picture"
    """A picture from elsewhere, such as a plot."""
    TITLE = "title"
    PAUSE = "pause"
    CAUTION = "caution"
    """The full caution."""


class Part(StrEnum):
    """What of a run's telling is shown."""

    ALL = "all"
    REAL = "real"
    SLOW = "slow"


@dataclass(frozen=True)
class BoardShot:
    """One shot: `name` for messages and files; `runs` with the `options` of their film and the
    `part` of it; `time` [s] of a still, beside which the same moment stands without its free parts
    and with the layers `alone` (None: by itself); `picture` (h, w, 3); `number` and `words` set
    over it, the words of a title too; `seconds` it stands, 0: a run's own length."""

    kind: BoardKind
    name: str
    options: ClipOptions
    runs: tuple[Trajectory, ...] = ()
    part: Part = Part.ALL
    time: float = 0.0
    alone: frozenset[str] | None = None
    picture: ByteArray | None = None
    number: str = ""
    words: str = ""
    seconds: float = 0.0

    @property
    def stands(self) -> bool:
        """May it be as long or short as the film wants?"""
        return self.kind != BoardKind.RUN


@dataclass(frozen=True)
class Storyboard:
    """Shots in order, `length` [s] in all (None: their own); `options` give size, rate and workers
    of the whole."""

    shots: tuple[BoardShot, ...]
    options: ClipOptions
    length: float | None = None


def fitted_to(shots: Sequence[BoardShot], lengths: Sequence[float], wanted: float) -> list[float]:
    """Return the clip seconds of each shot, those that stand stretched or shortened alike so that
    all take `wanted` [s]. Raises InputError where the runs alone take longer."""
    moving = sum(n for shot, n in zip(shots, lengths, strict=True) if not shot.stands)
    standing = sum(n for shot, n in zip(shots, lengths, strict=True) if shot.stands)
    count = sum(shot.stands for shot in shots)
    least = moving + SHORTEST * count
    if wanted < least or not standing:
        what = f"{least:.1f} s or more" if standing else f"{moving:.1f} s, as no shot can stand"
        raise InputError(f"is {wanted:g} s; these shots take {what}", key="length")
    left, found = wanted - moving, dict.fromkeys(range(len(shots)), 0.0)
    share = left / standing
    short = {k for k, s in enumerate(shots) if s.stands and lengths[k] * share < SHORTEST}
    rest = sum(lengths[k] for k, s in enumerate(shots) if s.stands and k not in short)
    share = (left - SHORTEST * len(short)) / rest if rest else 0.0
    for k, shot in enumerate(shots):
        if not shot.stands:
            found[k] = lengths[k]
        else:
            found[k] = SHORTEST if k in short else lengths[k] * share
    return list(found.values())


def sized(board: Storyboard) -> Iterator[BoardShot]:
    """Yield the shots with the size, rate and workers of the whole."""
    o = board.options
    for shot in board.shots:
        same = replace(
            shot.options, width=o.width, height=o.height, fps=o.fps, supersample=o.supersample
        )
        yield replace(shot, options=same)
