"""What became of a part that was let go: data; `run.fate` finds it."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from snapsim.mechanics.ending import Ending


class FateKind(StrEnum):
    """What became of a part; the value stands in files, `words.fates` has it in words."""

    SNAPS = "snaps"
    STAYS = "stays"
    FALLS_BACK = "falls back"
    GOES_AWAY = "goes away"
    UNDECIDED = "undecided"
    """It was moving still at the end of the run."""
    TOUCHES = "touches"
    """It was at a magnet from the start."""
    NO_ROOM = "no room"
    """Bodies overlap at the start."""
    FAILED = "failed"
    """It could not be computed."""


@dataclass(frozen=True)
class Fate:
    """What became of a part: `kind`, `struck` a body's name or "", kinetic `energy` [J], closing
    `speed` [m/s] and `time` [s] of that blow (0 without one), `lasted` [s] the time simulated, and
    the `ending` of the release; `low_by` the share by which its cells may leave the energy too low,
    where that is known. Where there was none: two bodies that `overlap`, or the `fault`. Of several
    parts together it is the worst one's, `part` by name."""

    kind: FateKind
    struck: str = ""
    energy: float = 0.0
    speed: float = 0.0
    time: float = 0.0
    lasted: float = 0.0
    ending: Ending | None = None
    overlap: tuple[str, str] | None = None
    low_by: float = 0.0
    fault: str = ""
    part: str = ""
