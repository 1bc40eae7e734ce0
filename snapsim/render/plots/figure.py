"""A figure: made in one style, given its footnote, saved as a file."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Final, Literal

from snapsim.errors import InputError
from snapsim.render.plots.style import PAPERS, WIDTH, Paper, styled
from snapsim.work.standard_streams import ending_of_name

if TYPE_CHECKING:
    from matplotlib.figure import Figure

FORMATS: Final = (".png", ".svg", ".pdf")
FOOTNOTE: Final = "Computed, not measured. No permission: local rules and qualified people decide."


@dataclass(frozen=True)
class PlotOptions:
    """`style` of the page and `dpi` of a PNG (200 gives 1280 pixels of width)."""

    style: Literal["light", "dark"] = "light"
    dpi: int = 200


@dataclass(frozen=True)
class Plot:
    """A plot to be drawn: its `height` [inch] at the common width, and what draws it."""

    height: float
    draw: Callable[[Figure, Paper], None]


def style_named(name: str) -> Literal["light", "dark"]:
    """Return the style; raises InputError for another name."""
    if name not in PAPERS:
        raise InputError(f'"{name}" is no style; allowed: {", ".join(PAPERS)}', key="--style")
    return name  # type: ignore[return-value]


def ending_of(path: str, more: tuple[str, ...] = ()) -> str:
    """Return the ending of a file name; raises InputError where nothing writes it."""
    ending = ending_of_name(path)
    if ending not in FORMATS + more:
        allowed = ", ".join(FORMATS + more)
        raise InputError(f'"{path}" ends in no format; allowed: {allowed}', key="--output")
    return ending


def save(path: str | Path, plot: Plot, options: PlotOptions, ending: str) -> None:
    """Draw a plot and write it in the format of `ending` (".png").

    The same data give the same bytes: no date is written.
    """
    figure = figure_of(plot, options.style)
    dates = {".svg": {"Date": None}, ".pdf": {"CreationDate": None}}
    marks = dates.get(ending, {"Software": "snapsim"})
    with styled(PAPERS[options.style]):
        figure.savefig(path, dpi=options.dpi, format=ending[1:], metadata=marks)


def figure_of(
    plot: Plot, style: Literal["light", "dark"] = "light", kind: type[Figure] | None = None
) -> Figure:
    """Return a plot with its footnote as a matplotlib figure, of a `kind` of one's own if given."""
    paper = PAPERS[style]
    with styled(paper):
        from matplotlib.backends.backend_agg import FigureCanvasAgg
        from matplotlib.figure import Figure

        figure = (kind or Figure)(figsize=(WIDTH, plot.height))
        FigureCanvasAgg(figure)
        plot.draw(figure, paper)
        figure.text(0.995, 0.004, FOOTNOTE, ha="right", va="bottom", size=7.5, color=paper.soft)
        figure.get_layout_engine().set(rect=(0, 0.035, 1, 0.965))  # type: ignore[union-attr, call-arg]
    return figure
