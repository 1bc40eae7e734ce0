"""The one typeface, Manrope (SIL Open Font License 1.1, beside its files): clips, plots and page
set the same letters on every machine."""

from __future__ import annotations

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
    """Return the families that plots ask for: signs that the first lacks come from the second.

    They ask for "normal" and "bold", and matplotlib complains of a family that has only others.
    """
    from matplotlib.font_manager import FontEntry, fontManager

    known = {Path(entry.fname) for entry in fontManager.ttflist}
    for weight, asked in ((Weight.PLAIN, "normal"), (Weight.BOLD, "bold")):
        if weight_path(weight) not in known:
            file = str(weight_path(weight))
            fontManager.ttflist.append(
                FontEntry(fname=file, name="Manrope", weight=asked, size="scalable")
            )
    return ["Manrope", "DejaVu Sans"]
