"""What becomes of a part over two parameters: fates by pattern and word, energy in colour."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from snapsim.arrays import Array, BoolArray
from snapsim.landscape.fate_map import DOES_NOT_SNAP, Axis, FateMap, area, patches
from snapsim.landscape.fate_map import Patch as Piece
from snapsim.render.plots.figure import Plot
from snapsim.render.plots.style import DASHES, Paper, entitle
from snapsim.simulation.fate import FateKind
from snapsim.words.fates import FATES

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.cm import ScalarMappable
    from matplotlib.figure import Figure

HEIGHT: Final = 6.2
PATTERNS: Final[dict[str, str]] = {
    FateKind.SNAPS: "",
    DOES_NOT_SNAP: "///",
    FateKind.UNDECIDED: "..",
    FateKind.TOUCHES: "++",
    FateKind.NO_ROOM: "xx",
    FateKind.GOES_AWAY: "\\\\\\",
    FateKind.FAILED: "**",
}
NAMES: Final = {
    "rotation.angle": "angle", "position.x": "x", "position.y": "y", "position.z": "height",
}  # fmt: skip
"""Plain words for the ends of keys."""

UNREFINED: Final = "NOT refined: a snap may\nbegin anywhere in dashed cells"

LEAST: Final = 0.02
"""Share of the slice from which a region is named inside the picture."""


def fate_plot(found: FateMap, title: str) -> Plot:
    """Fates over the slice: pattern and word by fate, energy of the blow in colour (log scale)."""
    return Plot(HEIGHT, lambda figure, paper: _draw(figure, paper, found, title))


def _draw(figure: Figure, paper: Paper, found: FateMap, title: str) -> None:
    from matplotlib.cm import ScalarMappable
    from matplotlib.colors import LogNorm

    axes = figure.subplots()
    some = np.array([f.energy for f in found.fates if f.energy > 0])
    low, high = (some.min(), some.max()) if len(some) else (0.1, 10.0)
    norm = LogNorm(max(low, 1e-3 * high), 1.001 * high, clip=True)
    shades = ScalarMappable(norm, "cividis")
    pieces = patches(found)
    groups = [p.group for p in pieces]
    for name in PATTERNS:
        _fill(axes, paper, found, [p for p in pieces if p.group == name], name, shades)
    _unrefined(axes, paper, found)
    for boundary in found.boundaries:
        snap = FateKind.SNAPS in boundary.between
        axes.plot(*boundary.line.T, color=paper.page, lw=5.0 if snap else 3.0, zorder=4)
        axes.plot(
            *boundary.line.T, color=paper.ink, lw=2.6 if snap else 1.4,
            ls="-" if snap else DASHES[2], zorder=5,
        )  # fmt: skip
    _spots(axes, paper, found)
    _name_regions(axes, paper, found, pieces)
    bar = figure.colorbar(shades, ax=axes, shrink=0.9)
    bar.set_label("energy of the blow [J]")
    axes.set(xlim=_limits(found.first), ylim=_limits(found.second))
    axes.set(xlabel=_label(found.first), ylabel=_label(found.second))
    axes.grid(visible=False)
    entitle(axes, title)
    _key(figure, paper, found, groups)


def _fill(
    axes: Axes,
    paper: Paper,
    found: FateMap,
    pieces: Sequence[Piece],
    name: str,
    shades: ScalarMappable,
) -> None:
    """Pieces of one group: coloured by energy, or blank where nothing was struck."""
    from matplotlib.collections import PolyCollection

    if not pieces:
        return
    colours = []
    for piece in pieces:
        value = float(np.mean([found.fates[n].energy for n in piece.points]))
        colours.append(shades.to_rgba(np.array(value)) if value > 0 else paper.iron)
    polygons = [piece.outline for piece in pieces]
    axes.add_collection(
        PolyCollection(polygons, facecolors=colours, edgecolors="face", linewidths=0.3)
    )
    if PATTERNS[name]:
        pattern: dict[str, Any] = {
            "hatch": PATTERNS[name],
            "edgecolors": "#FFFFFF",
            "linewidths": 0,
            "alpha": 0.65,
        }
        axes.add_collection(PolyCollection(polygons, facecolors="none", zorder=2, **pattern))


def _unrefined(axes: Axes, paper: Paper, found: FateMap) -> None:
    """Mark cells in which a boundary lies somewhere, and say so across the picture."""
    from matplotlib.collections import PolyCollection

    if found.whole:
        return
    axes.add_collection(
        PolyCollection(
            list(found.point[found.cells[found.unrefined]]), facecolors="none",
            edgecolors=paper.warn, linewidths=1.6, linestyles="--", zorder=6,
        )
    )  # fmt: skip
    axes.text(
        0.5, 0.985, UNREFINED, transform=axes.transAxes, ha="center", va="top", size=11,
        weight="bold", color=paper.warn, zorder=9,
        bbox={"facecolor": paper.page, "edgecolor": paper.warn, "pad": 4.0},
    )  # fmt: skip


def _spots(axes: Axes, paper: Paper, found: FateMap) -> None:
    """The boundary found again with finer cells."""
    known = [(s.found, s.second) for s in found.spots if s.found is not None]
    if not known:
        return
    axes.plot(
        *np.array(known).T, "D", ms=9, mfc=paper.accent, mec=paper.page, mew=1.6, zorder=7,
        clip_on=False, label=f'boundary with "{found.spots[0].detail}" cells',
    )  # fmt: skip


def _name_regions(axes: Axes, paper: Paper, found: FateMap, pieces: Sequence[Piece]) -> None:
    """Say what happens in the middle of each large region."""
    groups = np.array([p.group for p in pieces])
    size = np.array([area(p.outline) for p in pieces])
    centre = np.array([p.outline.mean(axis=0) for p in pieces])
    for name in sorted(set(groups.tolist())):
        mine = groups == name
        if size[mine].sum() < LEAST * size.sum():
            continue
        at = _middle(centre, mine, found)
        axes.text(
            *at, name, ha="center", va="center", size=13.5, weight="bold", color=paper.ink,
            zorder=8, bbox={"facecolor": paper.page, "edgecolor": paper.ink, "pad": 4.0},
        )  # fmt: skip


def _middle(centre: Array, mine: BoolArray, found: FateMap) -> tuple[float, float]:
    """The piece of a region farthest from everything that is not of it, and from the frame."""
    wide = np.array([abs(a.high - a.low) for a in (found.first, found.second)])
    low = np.array([min(a.low, a.high) for a in (found.first, found.second)])
    scaled = (centre - low) / wide
    inner = scaled[mine]
    frame = np.minimum(inner, 1 - inner) * np.array([0.55, 1.2])
    apart = frame.min(axis=1)
    if not mine.all():
        others = scaled[np.logical_not(mine)]
        away = np.linalg.norm((inner[:, None] - others[None]) * np.array([0.7, 1.3]), axis=2)
        apart = np.minimum(apart, away.min(axis=1))
    x, y = centre[mine][int(np.argmax(apart))]
    return float(x), float(y)


def _key(figure: Figure, paper: Paper, found: FateMap, groups: Sequence[str]) -> None:
    """Patterns in words, below the picture."""
    from matplotlib.lines import Line2D
    from matplotlib.patches import Patch

    entries: list[Patch | Line2D] = [
        Patch(facecolor="#7C7B78", edgecolor="#FFFFFF", hatch=PATTERNS[g], label=FATES[g])
        for g in PATTERNS
        if g in groups
    ]
    if any(FateKind.SNAPS in b.between for b in found.boundaries):
        entries.append(Line2D([], [], color=paper.ink, lw=2.6, label="boundary of the snap"))
    if any(s.found is not None for s in found.spots):
        mark = {"ls": "", "marker": "D", "ms": 9, "mfc": paper.accent, "mec": paper.page}
        label = f'same, found with "{found.spots[0].detail}" cells{_aside(found)}'
        entries.append(Line2D([], [], label=label, **mark))  # type: ignore[arg-type]
    figure.legend(handles=entries, loc="outside lower center", ncols=2, borderaxespad=1.2)


def _aside(found: FateMap) -> str:
    """How far the boundary moves with finer cells, of the spots found again."""
    away = [abs(s.found - s.drawn) for s in found.spots if s.found is not None]
    lost = len(found.spots) - len(away)
    more = f"; {lost} not found again" if lost else ""
    return f": up to {max(away):.2g} {found.first.unit} aside{more}"


def _label(axis: Axis) -> str:
    """ "blank: angle [deg]" from body.blank.rotation.angle."""
    words, unit = axis.key, f" [{axis.unit}]" if axis.unit else ""
    head, _, rest = axis.key.partition(".")
    if head in ("body", "joint"):
        name, _, end = rest.partition(".")
        words = f"{name}: {NAMES.get(end, end.replace('.', ' ').replace('_', ' '))}"
    with_it = sorted({key.split(".")[1] for key in axis.along if key.count(".") > 1})
    more = f" ({', '.join(with_it)} with it)" if with_it else ""
    return f"{words}{unit}{more}"


def _limits(axis: Axis) -> tuple[float, float]:
    return min(axis.low, axis.high), max(axis.low, axis.high)
