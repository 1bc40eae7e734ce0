"""Fates over two parameters of a scene, the boundary between them refined; resumable.

Each point is a release (`run.fate`) of the scene with two keys changed and, if asked, the
part set down on a support. Points are asked for by `numerics.quartering`, computed in processes of
their own, and kept in the ledger as each is done: broken off and started again the map is the same.
"""

from __future__ import annotations

import time
from collections.abc import Generator, Mapping, Sequence
from concurrent.futures import Executor
from contextlib import closing
from dataclasses import asdict, dataclass, replace
from functools import partial
from math import ceil, log2
from typing import Any

import numpy as np

from snapsim.errors import InputError, SnapsimError
from snapsim.landscape.fate_map import (
    DOES_NOT_SNAP,
    Axis,
    Boundary,
    BoundarySpot,
    FateMap,
    group,
)
from snapsim.landscape.rests import body_number
from snapsim.mechanics.ending import Ending, EndReason
from snapsim.numerics.program import program_identity
from snapsim.numerics.quartering import LabelMap, Point, boundaries, corners, is_mixed, refine
from snapsim.run.fate import attracting, fate
from snapsim.scenario.loading import scene_from_text
from snapsim.scenario.spans import Span, read_span, step_in
from snapsim.simulation.fate import Fate, FateKind
from snapsim.simulation.system import System
from snapsim.study.fate_together import drawn_parts, fate_together
from snapsim.study.ledger import Ledger, fingerprint
from snapsim.study.place import set_down
from snapsim.study.runner import processes
from snapsim.work.processes import each_apart
from snapsim.work.progress import Progress

SPOT_REACH = 12
"""Finest steps either side in which a boundary is looked for with other cells."""

KEPT = "what is done is kept: run the same again to go on"

DEEPEST = 10
"""Quarterings at most: a thousandth of a cell."""


@dataclass(frozen=True)
class Slice:
    """What is mapped: a scene's text, the two keys and their ranges, and the first grid.

    `file` stands in errors and says where mesh files are; `changes` are what-ifs for every point;
    `body` moves, set down on `on` first if that is given, or all free bodies `together`;
    `resolution` in the first key's unit.
    """

    scene: str
    file: str
    first: Span
    second: Span
    resolution: float
    changes: tuple[str, ...] = ()
    body: str | None = None
    on: str | None = None
    detail: str = "draft"
    columns: int = 12
    rows: int = 12
    together: bool = False

    @property
    def depth(self) -> int:
        """How often a cell is quartered so that the finest is no wider than the resolution."""
        k = self.first.shown
        wide = abs(self.first.high[k] - self.first.low[k]) / self.columns
        return min(DEEPEST, max(0, ceil(log2(wide / self.resolution) - 1e-9)))

    @property
    def size(self) -> tuple[int, int]:
        """Steps of the finest lattice along both axes."""
        return self.columns * 2**self.depth, self.rows * 2**self.depth


def two_spans(first: str, second: str, dashes: str = "") -> tuple[Span, Span]:
    """Read what lies across and upward; `dashes` stand before the options' names in an InputError,
    which also says where both are the same key."""
    across, upward = read_span(first, f"{dashes}first"), read_span(second, f"{dashes}second")
    keys = [s.key for s in (across, *across.along)]
    if any(s.key in keys for s in (upward, *upward.along)):
        raise InputError(
            f"is the key of {dashes}first; two different ones are due", key=f"{dashes}second"
        )
    return across, upward


def resolution_of(text: str | None, across: Span, columns: int, option: str) -> float:
    """Return how finely boundaries are located, in the first key's unit: an eighth of a column
    where nothing is said. Raises InputError."""
    if text is not None:
        return step_in(text, across.unit, option)
    k = across.shown
    return abs(across.high[k] - across.low[k]) / (8 * columns)


def system_at(
    given: Slice, point: Point, detail: str | None = None
) -> tuple[System, tuple[int, ...]]:
    """Return the system at a lattice point and the numbers of its parts; raises InputError."""
    across, up = given.size
    changes = (
        *given.changes,
        f'run.detail="{detail or given.detail}"',
        *given.first.changes(point[0], across),
        *given.second.changes(point[1], up),
    )
    system = scene_from_text(given.scene, given.file, changes)
    if given.together:
        return system, drawn_parts(system)
    body = body_number(system, given.body)
    return set_down(system, body, given.on), (body,)


def fate_at(given: Slice, point: Point, detail: str | None = None) -> Fate:
    """Return the fate at a lattice point; a fault is a fate too."""
    try:
        system, parts = system_at(given, point, detail)
        return fate_together(system, parts) if given.together else fate(system, parts[0])
    except SnapsimError as error:
        return Fate(FateKind.FAILED, fault=str(error))
    except (ArithmeticError, ValueError, np.linalg.LinAlgError) as error:
        return Fate(FateKind.FAILED, fault=f"{type(error).__name__}: {error}")


def refuse_bad(given: Slice) -> None:
    """Raise InputError for what no release of the slice could be made of: looks at its corners."""
    if not given.resolution > 0:
        raise InputError("must be greater than zero", key="--resolution")
    across, up = given.size
    for point in ((0, 0), (across, 0), (across, up), (0, up)):
        system, parts = system_at(given, point)
        body = parts[0]
        if not attracting(system, body):
            raise InputError("nothing attracts it", key=f"body.{system.bodies[body].name}")


def fate_map(
    given: Slice,
    folder: str,
    workers: int = 1,
    limit: int = 5000,
    spots: int = 5,
    redo: bool = False,
    progress: Progress | None = None,
) -> FateMap:
    """Return the map, its points kept in `folder`.

    `spots` places of the boundary are looked for again with the scene at detail "normal". Raises
    InputError, OutputError, and KeyboardInterrupt with what is done kept.
    """
    refuse_bad(given)
    began = time.perf_counter()
    identity = {
        "slice": fingerprint(repr(sorted(asdict(given).items()))),
        "program": program_identity(),
    }
    with Ledger(folder, identity, redo, row=_is_fate) as ledger:
        desk = _FateDesk(given, ledger, workers, progress or (lambda what, done, of_all: None))
        with closing(desk):
            found = refine(desk.labels, given.columns, given.rows, given.depth, limit)
            checked = _spots(given, desk, found, spots)
            whole = _assembled(given, desk, found)
        wall = time.perf_counter() - began
        return replace(whole, spots=checked, wall=wall, computed=desk.computed)


class _FateDesk:
    """Answers what the fate of points is, from the ledger or by computing."""

    def __init__(self, given: Slice, ledger: Ledger, workers: int, progress: Progress) -> None:
        self.given, self.ledger, self.workers, self.progress = given, ledger, workers, progress
        self.computed = 0
        self.executor: Executor | None = None
        self.known = {n: _kept(result["fate"]) for n, result in ledger.results()}

    def labels(self, points: Sequence[Point]) -> Mapping[Point, str]:
        """Return the group of the fate of each point."""
        return {p: group(f.kind) for p, f in self.fates(points).items()}

    def fates(self, points: Sequence[Point], detail: str | None = None) -> dict[Point, Fate]:
        """Return the fate of each point; each is kept as soon as it is known."""
        number = {p: self.number(p, detail) for p in points}
        missing = [p for p in points if number[p] not in self.known]
        what = "releases" if detail is None else f"boundary at {detail}"
        with closing(self._computed(missing, detail)) as results:
            for k, (point, found) in enumerate(results):
                self.ledger.add(number[point], {"status": "done", "fate": asdict(found)})
                self.known[number[point]] = found
                self.computed += 1
                self.progress(what, len(points) - len(missing) + k + 1, len(points))
        return {p: self.known[number[p]] for p in points}

    def number(self, point: Point, detail: str | None = None) -> int:
        """Return the number of a point in the ledger; points of another detail follow on."""
        across, up = self.given.size
        offset = 0 if detail is None else (across + 1) * (up + 1)
        return offset + point[0] + (across + 1) * point[1]

    def _computed(
        self, points: Sequence[Point], detail: str | None
    ) -> Generator[tuple[Point, Fate], None, None]:
        if self.workers == 1 or len(points) < 2:
            for point in points:
                yield point, fate_at(self.given, point, detail)
            return
        executor = self.executor = self.executor or processes(self.workers)
        call = partial(fate_at, self.given, detail=detail)
        yield from each_apart(executor, call, points, KEPT)

    def close(self) -> None:
        """Drop what was not begun and let the processes end."""
        if self.executor is not None:
            self.executor.shutdown(wait=True, cancel_futures=True)


def _is_fate(row: dict[str, Any]) -> bool:
    """Whether a row of the ledger is one of this map; raises what `_kept` does."""
    return isinstance(_kept(row["fate"]), Fate)


def _kept(row: dict[str, Any]) -> Fate:
    """A fate as the ledger has it."""
    ending, overlap = row["ending"], row["overlap"]
    if ending is not None:
        ending = Ending(**{**ending, "reason": EndReason(ending["reason"])})
    return Fate(
        **{
            **row,
            "kind": FateKind(row["kind"]),
            "ending": ending,
            "overlap": overlap and tuple(overlap),
        }
    )


def _assembled(given: Slice, desk: _FateDesk, found: LabelMap) -> FateMap:
    """The map in the units of its axes."""
    system, parts = system_at(given, (0, 0))
    points = sorted(found.labels)
    at = {p: n for n, p in enumerate(points)}
    fates = desk.fates(points)
    first, second = (_axis(s, n) for s, n in zip(_spans(given), given.size, strict=True))
    lines = [
        Boundary(pair, _placed(np.array(line), first, second))
        for pair, some in boundaries(found).items()
        for line in some
    ]
    return FateMap(
        title=system.title,
        body=_named([system.bodies[i].name for i in parts]),
        detail=given.detail,
        first=first,
        second=second,
        point=_placed(np.array(points, dtype=np.float64), first, second),
        fates=tuple(fates[p] for p in points),
        cells=np.array([[at[p] for p in corners(c)] for c in found.cells], dtype=np.int64),
        boundaries=tuple(lines),
        spots=(),
        whole=found.whole,
        unrefined=np.array(
            [n for n, c in enumerate(found.cells) if c[2] > 1 and is_mixed(c, found.labels)],
            dtype=np.int64,
        ),
    )


def _named(parts: Sequence[str]) -> str:
    """What a map is of."""
    return parts[0] if len(parts) == 1 else f"one of {' and '.join(parts)}"


def _spans(given: Slice) -> tuple[Span, Span]:
    return given.first, given.second


def _axis(span: Span, steps: int) -> Axis:
    k = span.shown
    low, high = span.low[k], span.high[k]
    return Axis(
        span.key, span.unit, low, high, abs(high - low) / steps, tuple(s.key for s in span.along)
    )


def _placed(lattice: Any, first: Axis, second: Axis) -> Any:
    """Lattice points (k, 2) in the units of the axes."""
    signs = [np.sign(a.high - a.low) * a.step for a in (first, second)]
    return np.array([first.low, second.low]) + lattice * np.array(signs)


def _spots(given: Slice, desk: _FateDesk, found: LabelMap, count: int) -> tuple[BoundarySpot, ...]:
    """Places of the snap boundary, evenly chosen, found again at detail "normal"."""
    if given.detail == "normal" or count < 1:
        return ()
    edges = sorted(
        (j, i)
        for (i, j), label in found.labels.items()
        if (i + 1, j) in found.labels
        and {label, found.labels[(i + 1, j)]} == {FateKind.SNAPS, DOES_NOT_SNAP}
    )
    chosen = [edges[round(k)] for k in np.linspace(0, len(edges) - 1, min(count, len(edges)))]
    first, second = (_axis(s, n) for s, n in zip(_spans(given), given.size, strict=True))
    spots = []
    for j, i in chosen:
        again = _found_again(desk, (i, j), found.labels[(i, j)])
        line = np.array([[i + 0.5, j], [np.nan if again is None else again + 0.5, j]])
        (drawn, height), (new, _) = _placed(line, first, second)
        there = None if again is None else float(new)
        spots.append(BoundarySpot(float(height), float(drawn), there, "normal"))
    return tuple(spots)


def _found_again(desk: _FateDesk, point: Point, left: str) -> int | None:
    """The i nearest to a point's own with the label `left` there and another at i + 1."""
    across, (i, j) = desk.given.size[0], point

    def same(k: int) -> bool:
        return group(desk.fates([(k, j)], "normal")[(k, j)].kind) == left

    way = 1 if same(i) else -1
    for k in range(i, i + way * SPOT_REACH, way):
        if not 0 <= k < across:
            return None
        if same(k) and not same(k + 1):
            return k
    return None
