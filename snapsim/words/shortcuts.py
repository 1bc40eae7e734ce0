"""Why a study does without long steps first, in words."""

from __future__ import annotations

from typing import Final

TOO_FEW: Final = "with fewer than 12 runs a setup it spares nothing"

MIXED: Final = "runs end both ways, and of fewer than 24 a setup all would be made again"


def most_again(again: int, runs: int) -> str:
    """Return that of the first `runs` so many would be made again."""
    return f"{again} of the first {runs} runs would be made again"
