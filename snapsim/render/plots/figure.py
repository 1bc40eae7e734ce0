"""A figure: made in one style, given its footnote, saved as a file."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Final, Literal

from snapsim.errors import InputError
from snapsim.render.plots.style import PAPERS, WIDTH, Paper, styled

if TYPE_CHECKING:
    from matplotlib.figure import Figure

FORMATS: Final = (".png", ".svg", ".pdf")
FOOTNOTE: Final = "Computed, not measured. No permission: local rules and qualified people decide."


@dataclass(frozen=True)
class PlotOptions:
    """`style` of the page and `dpi` of a PNG (200 gives 1280 pixels of width)."""

    style: Literal["light", "dark"] = "light"
    dpi: int = 200


def save(
    path: str, height: float, draw: Callable[[Figure, Paper], None], options: PlotOptions
) -> None:
    """Draw a figure of `height` [inch] and write it; raises InputError for an unknown ending.

    The same data give the same bytes: no date is written.
    """
    ending = Path(path).suffix.lower()
    if ending not in FORMATS:
        raise InputError(f'"{ending}" is no plot format; allowed: {", ".join(FORMATS)}', file=path)
    paper = PAPERS[options.style]
    with styled(paper):
        from matplotlib.backends.backend_agg import FigureCanvasAgg
        from matplotlib.figure import Figure

        figure = Figure(figsize=(WIDTH, height))
        FigureCanvasAgg(figure)
        draw(figure, paper)
        figure.text(0.995, 0.004, FOOTNOTE, ha="right", va="bottom", size=7.5, color=paper.soft)
        figure.get_layout_engine().set(rect=(0, 0.035, 1, 0.965))  # type: ignore[union-attr, call-arg]
        dates = {".svg": {"Date": None}, ".pdf": {"CreationDate": None}}
        figure.savefig(path, dpi=options.dpi, metadata=dates.get(ending, {"Software": "snapsim"}))
