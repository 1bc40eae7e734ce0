"""How the point of no return moves with one key of a scene: margins over a range of values.

At each value the scene is read anew, the part set down on its support where asked, and the
threshold of every way found on two meshes (`landscape.thresholds`). A value at which the
scene cannot be (an overlap, a part already at the magnet) is a row that says so. Values are
independent of each other and go to processes of their own.

Where the key turns the part that is set down, its lowest point stays where it is at the first value
of the range: else the point that it turns about would wander under the magnet with the angle, and
one tilt would have another critical angle at every value.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import partial

from snapsim.errors import SnapsimError
from snapsim.landscape.continuation import Continuation, Row
from snapsim.landscape.margin import worse_of
from snapsim.landscape.place import axis_from_vertical
from snapsim.landscape.rests import body_number
from snapsim.landscape.thresholds import WayKind, Ways
from snapsim.scenario.loading import scene_from_text
from snapsim.scenario.spans import Span
from snapsim.simulation.system import System
from snapsim.study.confirmed_margin import confirmed
from snapsim.study.place import set_down, shifted_to, stands_at
from snapsim.study.runner import processes
from snapsim.work.processes import each_apart
from snapsim.work.progress import Progress


@dataclass(frozen=True)
class Against:
    """What is asked: a scene's text, the key and its range in `steps` steps, which ways.

    `file` stands in errors; `changes` hold at every value; `body` is set down on `on` if given.
    `quick`: by a slow fall alone, not confirmed by releases.
    """

    scene: str
    file: str
    span: Span
    steps: int
    kinds: tuple[WayKind, ...]
    changes: tuple[str, ...] = ()
    body: str | None = None
    on: str | None = None
    quick: bool = False


def continuation(
    given: Against, workers: int = 1, progress: Progress | None = None
) -> Continuation:
    """Return the margins over the range; raises InputError where its first value cannot be read."""
    system, body = _system(given, 0)
    rows: dict[int, Row] = {}
    for index, row in _rows(given, workers):
        rows[index] = row
        if progress is not None:
            progress(f"margins over {given.span.key}", len(rows), given.steps + 1)
    ordered = tuple(rows[k] for k in sorted(rows))
    span, names = given.span, tuple(b.name for b in system.bodies)
    stands = None if given.on is None else stands_at(system, body)
    return Continuation(
        system.title, names[body], span.key, span.unit, span.shown, ordered, names, stands
    )


def _rows(given: Against, workers: int) -> Iterator[tuple[int, Row]]:
    if workers == 1:
        for index in range(given.steps + 1):
            yield index, row_at(given, index)
        return
    executor = processes(workers)
    try:
        values = range(given.steps + 1)
        yield from each_apart(executor, partial(row_at, given), values, "run the same again")
    finally:
        executor.shutdown(wait=True, cancel_futures=True)


def row_at(given: Against, index: int) -> Row:
    """Return the margins at one value; a scene that cannot be there is a row too."""
    numbers = given.span.numbers(index, given.steps)
    try:
        system, body = _system(given, index)
        ways = Ways(system, body, lambda what, done, of_all: None)
    except SnapsimError as error:
        return Row(numbers, "none", str(error), float("nan"), ())
    upright = axis_from_vertical(ways.place)
    if ways.at_magnet():
        return Row(numbers, "touches", "", upright, ())
    now = ways.let_go()
    found = ways.measured(now.fate == "snaps", given.kinds)
    fate: str = now.fate
    if not given.quick:
        released, found = confirmed(ways, now, found)
        fate = worse_of(now.fate, released)
    return Row(numbers, fate, "", upright, tuple(t for _, t in found))


def _system(given: Against, index: int) -> tuple[System, int]:
    system, body = _set_down(given, index)
    if index == 0 or given.on is None:
        return system, body
    first, _ = _set_down(given, 0)
    was, now = (s.start.pose.quaternion[body] for s in (first, system))
    if abs(was @ now) > 1 - 1e-12:
        return system, body
    return shifted_to(system, body, stands_at(first, body), given.on), body


def _set_down(given: Against, index: int) -> tuple[System, int]:
    changes = (*given.changes, *given.span.changes(index, given.steps))
    system = scene_from_text(given.scene, given.file, changes)
    body = body_number(system, given.body)
    return set_down(system, body, given.on), body
