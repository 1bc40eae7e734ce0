"""A map of labels over a rectangle, fine only along the boundaries between labels.

The rectangle is cut into `columns` x `rows` cells; a cell whose known lattice points (its corners,
and what finer neighbours put on its edges) do not all bear one label is quartered, `depth` times at
most. Lattice points are pairs (i, j), 0 <= i <= columns 2^depth. Each round asks for all labels it
needs at once; which points are asked for depends on the labels alone, never on their order. A
region narrower than a cell of the first grid can be missed.

Boundaries: between two neighbouring points of the finest lattice with different labels one passes
through the middle. In a cell two such middles are joined; three or four are joined to its centre.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

Point = tuple[int, int]
Cell = tuple[int, int, int]
"""Lower left point and size, in steps of the finest lattice."""

Label = str
LatticeLine = list[tuple[float, float]]


@dataclass(frozen=True)
class LabelMap:
    """`labels` of the points asked for, and the `cells` that fill the rectangle; `whole` is False
    where the limit on points ended the refinement, `rounds` how often points were asked for."""

    labels: Mapping[Point, Label]
    cells: Sequence[Cell]
    whole: bool
    rounds: int


def refine(
    ask: Callable[[Sequence[Point]], Mapping[Point, Label]],
    columns: int,
    rows: int,
    depth: int,
    limit: int,
) -> LabelMap:
    """Return the map; `ask` gives the labels of points, `limit` is the most points."""
    size = 2**depth
    labels: dict[Point, Label] = {}
    cells = [(i * size, j * size, size) for j in range(rows) for i in range(columns)]
    rounds = 0
    while True:
        needed = sorted({p for c in cells for p in corners(c)} - labels.keys())
        if needed:
            labels |= ask(needed)
            rounds += 1
        split = {c for c in cells if c[2] > 1 and is_mixed(c, labels)}
        new = {p for c in split for q in quarters(c) for p in corners(q)} - labels.keys()
        if not split or len(labels) + len(new) > limit:
            return LabelMap(labels, tuple(sorted(cells)), not split, rounds)
        cells = [q for c in cells for q in (quarters(c) if c in split else (c,))]


def corners(cell: Cell) -> tuple[Point, Point, Point, Point]:
    """Return the corners, counter-clockwise from the lower left."""
    i, j, s = cell
    return (i, j), (i + s, j), (i + s, j + s), (i, j + s)


def quarters(cell: Cell) -> tuple[Cell, Cell, Cell, Cell]:
    """Return the four quarters."""
    i, j, s = cell
    h = s // 2
    return (i, j, h), (i + h, j, h), (i, j + h, h), (i + h, j + h, h)


def is_mixed(cell: Cell, labels: Mapping[Point, Label]) -> bool:
    """Return whether the known points on the rim of a cell differ in label."""
    i, j, s = cell
    first = labels[(i, j)]
    return any(
        labels.get(p, first) != first
        for k in range(s + 1)
        for p in ((i + k, j), (i + k, j + s), (i, j + k), (i + s, j + k))
    )


def boundaries(found: LabelMap) -> dict[tuple[Label, Label], list[LatticeLine]]:
    """Return the lines between each two labels, in steps of the finest lattice."""
    pieces: dict[tuple[Label, Label], list[LatticeLine]] = defaultdict(list)
    for cell in found.cells:
        if cell[2] == 1:
            for pair, piece in _crossing(cell, found.labels):
                pieces[pair].append(piece)
    return {pair: _chained(pieces[pair]) for pair in sorted(pieces)}


def _crossing(
    cell: Cell, labels: Mapping[Point, Label]
) -> list[tuple[tuple[Label, Label], LatticeLine]]:
    """The pieces of boundary in a smallest cell."""
    ring = corners(cell)
    cut = []
    for k in range(4):
        a, b = ring[k], ring[(k + 1) % 4]
        if labels[a] != labels[b]:
            pair = min(labels[a], labels[b]), max(labels[a], labels[b])
            cut.append((pair, (0.5 * (a[0] + b[0]), 0.5 * (a[1] + b[1]))))
    if len(cut) == 2:
        return [(cut[0][0], [cut[0][1], cut[1][1]])]
    centre = (cell[0] + 0.5, cell[1] + 0.5)
    return [(pair, [middle, centre]) for pair, middle in cut]


def _chained(pieces: list[LatticeLine]) -> list[LatticeLine]:
    """Join pieces end to end where exactly two meet."""
    at: dict[tuple[float, float], list[int]] = defaultdict(list)
    for n, piece in enumerate(pieces):
        for end in piece:
            at[end].append(n)
    left = set(range(len(pieces)))
    lines = []
    loose = [n for n in range(len(pieces)) if any(len(at[e]) != 2 for e in pieces[n])]
    for n in [*loose, *range(len(pieces))]:
        if n in left:
            lines.append(_followed(n, pieces, at, left))
    return lines


def _followed(
    n: int, pieces: list[LatticeLine], at: Mapping[tuple[float, float], list[int]], left: set[int]
) -> LatticeLine:
    """The line that begins with piece `n`, at its loose end where it has one."""
    left.discard(n)
    begin, end = pieces[n]
    line = [begin, end] if len(at[begin]) != 2 or len(at[end]) == 2 else [end, begin]
    while len(at[line[-1]]) == 2:
        onward = [k for k in at[line[-1]] if k in left]
        if not onward:
            break
        left.discard(onward[0])
        a, b = pieces[onward[0]]
        line.append(b if a == line[-1] else a)
    return line
