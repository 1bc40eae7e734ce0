"""The look of plots: two papers, inks that hold their contrast, lines told apart without colour.

Line colours differ in lightness and each series also has its own dash and marker, so a plot reads
in grey print and with every common colour blindness. Text sizes are chosen for a figure shown
80 mm wide (a phone held upright): numbers and labels are then set in 2 mm, only the footnote less.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from textwrap import wrap
from typing import TYPE_CHECKING, Any, Final

from snapsim.render import palette
from snapsim.render.typeface import plot_families

if TYPE_CHECKING:
    from matplotlib.axes import Axes

WIDTH: Final = 6.4
"""Width of a figure [inch]; heights follow from what is drawn."""

TITLE_WIDTH: Final = 46
"""Letters in a line of a title."""


@dataclass(frozen=True)
class Paper:
    """Colours of one style: page, ink, soft ink, rule, and the series in their order."""

    page: str
    ink: str
    soft: str
    rule: str
    accent: str
    warn: str
    series: tuple[str, ...]
    iron: str


LIGHT: Final = Paper(
    "#FFFDF8", "#16212A", "#4C5B66", "#D9DDD8", "#9A4B00", "#8C1D40",
    ("#123A5A", "#B35A00", "#1B7A6B", "#7A4B94"), "#C9CED2",
)  # fmt: skip
DARK: Final = Paper(
    "#111A21", "#F4F7F6", "#B9C7CC", "#31414D", "#FFB454", palette.SNAPS,
    ("#8FC7F2", "#FFB454", palette.SPARED, "#CFA8E8"), "#4A555E",
)  # fmt: skip
DASHES: Final[tuple[Any, ...]] = ("-", (0, (6, 2)), (0, (1.2, 1.6)), (0, (7, 2, 1.2, 2)))
MARKERS: Final = ("o", "s", "^", "D")
PAPERS: Final = {"light": LIGHT, "dark": DARK}


@contextmanager
def styled(paper: Paper) -> Iterator[None]:
    """Draw with the settings of `paper` inside the block; matplotlib's own are put back after."""
    import matplotlib as mpl

    with mpl.rc_context(_settings(paper)):  # type: ignore[arg-type]
        yield


def entitle(axes: Axes, title: str) -> None:
    """Set a title, broken into lines that fit the page."""
    axes.set_title("\n".join(wrap(title, TITLE_WIDTH)))


LETTERING: Final = {
    "font.size": 12.5,
    "axes.titlesize": 13.5,
    "axes.titleweight": "bold",
    "axes.titlelocation": "left",
    "axes.labelsize": 12.5,
    "xtick.labelsize": 11.5,
    "ytick.labelsize": 11.5,
    "legend.fontsize": 11.5,
}
"""Sizes of words on a plot [points]."""


def _settings(paper: Paper) -> dict[str, Any]:
    return LETTERING | {
        "font.family": plot_families(),
        "figure.facecolor": paper.page,
        "savefig.facecolor": paper.page,
        "axes.facecolor": paper.page,
        "text.color": paper.ink,
        "axes.labelcolor": paper.ink,
        "axes.edgecolor": paper.soft,
        "xtick.color": paper.soft,
        "ytick.color": paper.soft,
        "axes.spines.top": False,
        "axes.spines.right": False,
        "axes.grid": True,
        "grid.color": paper.rule,
        "grid.linewidth": 0.8,
        "axes.axisbelow": True,
        "lines.linewidth": 2.4,
        "legend.frameon": True,
        "legend.framealpha": 0.8,
        "legend.facecolor": paper.page,
        "legend.edgecolor": paper.page,
        "svg.fonttype": "none",
        "svg.hashsalt": "snapsim",
        "pdf.fonttype": 42,
        "figure.constrained_layout.use": True,
    }
