"""What a format of clip is: it encodes a run of frames on its own, and joins such pieces to one.

Pieces are the unit of drawing side by side and of going on after an interruption, so a format's
result must not depend on when or where its pieces were made: the same frames, the same bytes.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Protocol

from snapsim.arrays import ByteArray
from snapsim.render.rates import Rate


class Format(Protocol):
    """`name` for people; `suffix` of its file ("" for a folder); `alpha`: frames carry opacity."""

    @property
    def name(self) -> str:
        """For people."""

    @property
    def suffix(self) -> str:
        """Ending of the file, "" for a folder."""

    @property
    def alpha(self) -> bool:
        """Do frames carry opacity?"""

    def problem(self, size: tuple[int, int], fps: Rate) -> str | None:
        """Return why this size or rate cannot be had, and what can; None where it can."""

    def encode(
        self,
        frames: Iterable[ByteArray],
        target: Path,
        size: tuple[int, int],
        fps: Rate,
        first: int,
    ) -> None:
        """Write frames (height, width, 3 or 4) from number `first` on as a piece at `target`."""

    def join(self, pieces: Sequence[Path], target: Path, fps: Rate) -> None:
        """Write the whole clip at `target` from its pieces in order."""
