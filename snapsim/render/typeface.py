"""The one typeface, Manrope (SIL Open Font License 1.1, beside its files): clips, plots and page
set the same letters on every machine."""

from __future__ import annotations

from dataclasses import replace
from enum import StrEnum
from pathlib import Path
from typing import Final

LETTERS: Final = Path(__file__).parent / "letters"


class Weight(StrEnum):
    """Weights that are bundled, by the names of their files."""

    PLAIN = "Medium"
    BOLD = "SemiBold"
    HEAVY = "ExtraBold"


def weight_path(weight: Weight) -> Path:
    """Return the TrueType file of a weight."""
    return LETTERS / f"Manrope-{weight}.ttf"


def font_path(bold: bool) -> Path:
    """Return the TrueType file of running text, or of what stands out in it."""
    return weight_path(Weight.BOLD if bold else Weight.PLAIN)


def plot_families() -> list[str]:
    """Return the families that plots ask for: signs that the first lacks come from the second."""
    from matplotlib import font_manager

    entries = font_manager.fontManager.ttflist
    known = {Path(entry.fname) for entry in entries}
    for weight, asked in ((Weight.PLAIN, 400), (Weight.BOLD, 700)):
        if weight_path(weight) not in known:
            font_manager.fontManager.addfont(weight_path(weight))
            entries[-1] = replace(entries[-1], weight=asked)  # as plots ask, without a warning
    return ["Manrope", "DejaVu Sans"]
