"""The one typeface: DejaVu Sans as `matplotlib` ships it, so every machine sets the same text."""

from __future__ import annotations

from pathlib import Path

import matplotlib as mpl


def font_path(bold: bool) -> Path:
    """Return the TrueType file."""
    name = "DejaVuSans-Bold.ttf" if bold else "DejaVuSans.ttf"
    return Path(mpl.get_data_path()) / "fonts" / "ttf" / name


def plot_family() -> str:
    """Return the family name that plots ask for."""
    return "DejaVu Sans"
