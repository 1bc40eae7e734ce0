"""What becomes of several parts that are let go together: the fate of the one that fares worst.

All are followed until one snaps. Parts at a magnet from the start are left out unless all are. What
nothing brings to rest here and goes to and fro, coming no nearer from swing to swing
(`letting_go.to_and_fro`), counts as falling back, as it does for margins.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Final

from snapsim.errors import InputError
from snapsim.run.fate import at_start, attracting, followed, judged
from snapsim.simulation.fate import Fate, FateKind
from snapsim.simulation.system import System
from snapsim.study.letting_go import to_and_fro

WORST_FIRST: Final = (
    FateKind.SNAPS,
    FateKind.FAILED,
    FateKind.UNDECIDED,
    FateKind.GOES_AWAY,
    FateKind.FALLS_BACK,
    FateKind.STAYS,
)


def drawn_parts(system: System) -> tuple[int, ...]:
    """Return the numbers of the free bodies that a magnet draws; raises InputError for fewer than
    two."""
    numbers = tuple(
        i
        for i, b in enumerate(system.bodies)
        if not b.fixed and (b.is_soft or b.is_magnet) and attracting(system, i)
    )
    if len(numbers) < 2:
        problem = "needs two free bodies at least that a magnet draws"
        raise InputError(problem, file=system.file or None, key="--together")
    return numbers


def fate_together(system: System, bodies: Sequence[int]) -> Fate:
    """Let go of everything and return what becomes of some bodies, by number: the worst of it."""
    starts = {i: at_start(system, i) for i in bodies}
    for i, found in starts.items():
        if found is not None and found.kind is FateKind.NO_ROOM:
            return _of(system, i, found)
    loose = [i for i in bodies if starts[i] is None]
    if not loose:
        first = bodies[0]
        return _of(system, first, starts[first] or Fate(FateKind.TOUCHES))
    run = followed(system, loose)
    fates = [(i, judged(run, i)) for i in loose]
    i, worst = min(fates, key=lambda pair: WORST_FIRST.index(pair[1].kind))
    if worst.kind is FateKind.UNDECIDED and to_and_fro(run):
        worst = replace(worst, kind=FateKind.FALLS_BACK)
    return _of(system, i, worst)


def _of(system: System, body: int, found: Fate) -> Fate:
    return replace(found, part=system.bodies[body].name)
