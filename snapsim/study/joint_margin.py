"""How far several parts together are from snapping: one is moved or turned, all are let go.

Releases alone judge (`letting_go`), from the present pose outward: each way of each part is looked
at from `OUTWARD` of what can be followed until a release is not safe, and the bracket before it is
halved. The ways that mattered most come first: lift, approach to the magnet, push toward another
part, turns, other pushes, the parts in turn; after `MOST` releases the rest is left out, and said
to be.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from itertools import zip_longest
from typing import Final

import numpy as np

from snapsim.arrays import Array
from snapsim.landscape.confirmation import Confirmation, LetGo, Ruling
from snapsim.landscape.joint_margin import JointMargin, JointWay
from snapsim.landscape.thresholds import Threshold, Ways, kind_of, weakness
from snapsim.landscape.ways import PushWay, TiltWay
from snapsim.simulation.system import System
from snapsim.study.fate_together import drawn_parts
from snapsim.study.letting_go import LettingGo
from snapsim.work.progress import Progress

OUTWARD: Final = (0.12, 0.3, 0.6, 1.0)
"""Shares of a way from which is let go."""

MOST: Final = 44
"""Releases at most."""

TOWARD: Final = 0.7
"""Cosine from which a level push goes toward another part."""

AnyWay = PushWay | TiltWay


def joint_margin(system: System, progress: Progress | None = None) -> JointMargin:
    """Return how far the free parts together are from snapping; raises InputError for fewer than
    two that a magnet draws."""
    numbers = list(drawn_parts(system))
    return _Joint(system, numbers, progress or (lambda what, done, of_all: None)).run()


class _Joint:
    def __init__(self, system: System, numbers: list[int], progress: Progress) -> None:
        self.system, self.numbers, self.progress = system, numbers, progress
        progress("preparing", 0, MOST)
        self.parts: list[LettingGo] = []
        for i in numbers:
            loads = self.parts[0].loads if self.parts else None
            self.parts.append(LettingGo(Ways(system, i, progress), (), loads))

    @property
    def spent(self) -> int:
        """Releases made."""
        return sum(p.spent for p in self.parts)

    def run(self) -> JointMargin:
        """The parts as they are, then every way as far as releases last."""
        first = max(self.parts, key=lambda p: p.stronger)
        now = first.at(first.ways.place, 0.0)
        found: list[JointWay] = []
        left: Counter[tuple[str, str]] = Counter()
        interrupted = False
        for part, way in self._ordered() if now.safe else ():
            name = part.ways.constraints.body.name
            if interrupted or self.spent + len(OUTWARD) > MOST:
                left[name, kind_of(way)] += 1
                continue
            self.progress(f"letting go: {name}, {kind_of(way)}", self.spent, MOST)
            try:
                found.append(JointWay(name, self._threshold(part, way, now)))
            except KeyboardInterrupt:
                interrupted = True
                left[name, kind_of(way)] += 1
        return JointMargin(
            self.system,
            tuple(self.system.bodies[i].name for i in self.numbers),
            now,
            tuple(sorted(found, key=lambda one: weakness(one.threshold))),
            tuple((name, kind, n) for (name, kind), n in left.items()),  # type: ignore[misc]
            first.stronger,
            self.spent,
            interrupted,
        )

    def _ordered(self) -> Iterator[tuple[LettingGo, AnyWay]]:
        """All ways, the parts in turn."""
        rows = [[(p, w) for w in self._ways(p)] for p in self.parts]
        for several in zip_longest(*rows):
            yield from (one for one in several if one is not None)

    def _ways(self, part: LettingGo) -> list[AnyWay]:
        pushes, turns = part.ways.pushes(), part.ways.turns()
        rank = {"lift": 0, "approach": 1}
        toward = self._toward_others(part)

        def order(way: AnyWay) -> int:
            if isinstance(way, TiltWay):
                return 3
            near = (toward @ way.direction).max(initial=-1.0) > TOWARD
            return rank.get(way.kind, 2 if near else 4)

        return sorted([*pushes, *turns], key=order)

    def _toward_others(self, part: LettingGo) -> Array:
        """Unit vectors (k, 3) from a part to the other parts."""
        centre = self.system.start.pose.position
        way = centre[[i for i in self.numbers if i != part.body]] - centre[part.body]
        found: Array = way / np.linalg.norm(way, axis=1)[:, None]
        return found

    def _threshold(self, part: LettingGo, way: AnyWay, now: LetGo) -> Threshold:
        searched, stop = part.ways.reach(way)
        said = self._outward(part, way, searched, now)
        limit = said.edge if said.decides and said.edge is not None else searched
        effort, at, work = part.ways.effort(way, limit)
        tilt = isinstance(way, TiltWay)
        return Threshold(
            kind=kind_of(way),
            direction=way.axis if tilt else way.direction,  # type: ignore[union-attr]
            searched=searched,
            beyond=None,
            safe_from=None,
            effort=effort,
            effort_at=at,
            balance=None,
            place=way.at(limit),
            pivot=way.pivot_at(limit) if tilt else None,  # type: ignore[union-attr]
            stop=stop,
            work=work,
            confirmation=said,
        )

    def _outward(self, part: LettingGo, way: AnyWay, searched: float, now: LetGo) -> Confirmation:
        """Look outward until a release is not safe."""
        tried: list[LetGo] = []
        last = now
        for share in OUTWARD:
            one = part.on(way, share * searched)
            if one is None:
                continue
            tried.append(one)
            if not one.safe:
                return part.bracketed(way, (last, one), tried)
            last = one
        return Confirmation(Ruling.CONFIRMED, searched, None, tuple(tried), part.stronger)
