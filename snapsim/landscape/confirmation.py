"""What releases say of a margin, as data; `study.confirmed_margin` lets go and fills it in.

A threshold is found by a slow fall (`creep`), which leaves out the speed that a part gains and the
turn that it makes as it falls. So parts are let go at rest from within what the slow fall calls
safe; where one of them snaps, or is not known to come to rest, releases decide.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from snapsim.simulation.fate import FateKind

SAFE: Final = frozenset({FateKind.STAYS, FateKind.FALLS_BACK, FateKind.GOES_AWAY})
"""Fates that count as no snap: all that is not known counts as one."""


class Safety(StrEnum):
    """What is known of a release; the value is what a picture says of it."""

    SNAPS = "snaps"
    DOES_NOT_SNAP = "does not snap"
    UNKNOWN = "not known"


def safety(kind: FateKind) -> Safety:
    """Return what is known where `kind` became of the parts."""
    if kind in (FateKind.SNAPS, FateKind.TOUCHES):
        return Safety.SNAPS
    return Safety.DOES_NOT_SNAP if kind in SAFE else Safety.UNKNOWN


class Ruling(StrEnum):
    """What releases say of one way; the value stands in files, `words.margins` says it."""

    CONFIRMED = "confirmed"
    """None of those tried within the safe part snapped."""
    SNAPS = "snaps"
    """One did, and they decide."""
    UNKNOWN = "unknown"
    """One was not known to come to rest: they decide."""
    NOT_TRIED = "not tried"
    """What releases may cost was spent before."""


class Decider(StrEnum):
    """What decides from where on a way is not safe."""

    SLOW_FALL = "slow-fall"
    RELEASE = "release"


@dataclass(frozen=True)
class LetGo:
    """One release at rest: at `s` [m, rad] of a way, `kind` what became of the parts. In a snap
    `snapped` and `struck` are the bodies' names and `turned` [rad] is the angle by which the first
    had turned by then; `alike` says that it snaps with the pull as computed too. `moved` are the
    names of the bodies that moved."""

    s: float
    kind: FateKind
    snapped: str = ""
    struck: str = ""
    turned: float = 0.0
    alike: bool = True
    moved: tuple[str, ...] = ()

    @property
    def safe(self) -> bool:
        """Whether it is known that nothing snapped."""
        return self.kind in SAFE


@dataclass(frozen=True)
class Confirmation:
    """What releases say of one way. `edge` [m, rad]: where they decide, the last that is said to be
    safe, None where none is. `decisive` is the release nearest to it that was not safe; `tried` are
    all; the pull was made greater by the share `stronger`, what its cells may leave it too low by.
    """

    ruling: Ruling
    edge: float | None
    decisive: LetGo | None
    tried: tuple[LetGo, ...]
    stronger: float

    @property
    def decides(self) -> bool:
        """Whether releases take back what the slow fall says."""
        return self.ruling in (Ruling.SNAPS, Ruling.UNKNOWN)
