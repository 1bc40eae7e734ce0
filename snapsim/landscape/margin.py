"""How far a part is from snapping: in each way a hand may move it, and over the lowest pass.

Threshold of a way (`ways`): the least displacement or angle from the present pose from which the
part, let go at rest, ends at a magnet (a snap as `creep` decides it). Found by sampling the way on
coarse cells and halving the bracket there, then around it on fine ones; both meshes give the limit
and the error bar (`simulation.refinement`). Displaced parts are let go with a turn of `NUDGE` about
an axis oblique to the world's: no hand lets go exactly on a line of symmetry.

Barrier (`path`): dU = U(pass) - U(rest) [J] from the rest that the part has, or would fall back to,
to the magnet; where no pass is found below the top of the best of these ways, that top, an upper
bound (a rest that only friction holds has no pass of its own);

    v = sqrt(2 dU/m),    F = largest dU/ds

v the speed [m/s] of a nudge of just that energy, F [N] the largest slope along the way, s metres of
the metric of `place` (for a part that is only shifted, the force of a hand on it). In a turn the
hand's torque has its peak and its zero: beyond that the part goes on by itself.

Creep leaves out the speed gained on the way and holds other bodies: what it calls safe is to be
confirmed by releases (`Confirm`, `study.confirmed_margin`), which may take it back. Friction is
Coulomb's, hands let go at once: a margin is no safe distance.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from snapsim.arrays import Array
from snapsim.landscape.confirmation import LetGo
from snapsim.landscape.creep import (
    CreepFate,
    Crept,
)
from snapsim.landscape.descent import settle
from snapsim.landscape.guided_push import GuidedPush, guided_pushes
from snapsim.landscape.path import Pass, highest_point, lowest_pass, polished
from snapsim.landscape.place import Place
from snapsim.landscape.rests import (
    body_number,
)
from snapsim.landscape.slipping import Slip, slips
from snapsim.landscape.thresholds import (
    KINDS,
    MeasuredWay,
    RefinedQuantity,
    Threshold,
    WayKind,
    Ways,
    kind_of,
    weakness,
)
from snapsim.landscape.ways import PushWay, TiltWay
from snapsim.simulation.fate import FateKind
from snapsim.simulation.system import System
from snapsim.work.progress import Progress

Confirm = Callable[[Ways, Crept, Sequence[MeasuredWay]], tuple[LetGo, list[MeasuredWay]]]
"""Lets go, as it is and from within what the ways call safe: what came of it."""


@dataclass(frozen=True)
class Barrier:
    """The lowest pass found between `rest` and the magnet. `energy` [J] above the rest, and above
    the `present` pose [J] (negative: it is past the pass in energy); `nudge` [m/s]; `force` [N];
    `leaves` says along which motion; `top` is the pass itself on coarse cells."""

    energy: RefinedQuantity
    above_present: float
    nudge: float
    force: float
    leaves: str
    rest: Place
    top: Pass


@dataclass(frozen=True)
class Margin:
    """How far body number `body` is from snapping. `fate` of the present pose let go, or "touches"
    where it is at a magnet already, with `reached` the body's name; `load` (6,) [N, N m] on it now,
    weight included; `cells` coarse and fine. `now` is a release of the present pose, where one was
    asked for: where it is not safe and the slow fall is, it is what `fate` says. `slips`: the push
    along what it lies on that moves it; `guided`: the push along the freedom that joints leave it.
    `interrupted`: the user stopped the search, and `left` are the kinds of the ways that were not
    looked at."""

    system: System
    body: int
    place: Place
    fate: CreepFate | Literal["touches"]
    reached: str
    load: Array
    thresholds: tuple[Threshold, ...]
    barrier: Barrier | None
    cells: tuple[int, int]
    order: float
    evaluations: int
    now: LetGo | None = None
    slips: tuple[Slip, ...] = ()
    guided: tuple[GuidedPush, ...] = ()
    interrupted: bool = False
    left: tuple[WayKind, ...] = ()


def margin(
    system: System,
    body: str | None = None,
    progress: Progress | None = None,
    kinds: Collection[WayKind] = KINDS,
    confirm: Confirm | None = None,
) -> Margin:
    """Return how far a body is from snapping on some kinds of ways, by a slow fall alone unless
    `confirm` lets go; raises InputError as `rests.body_number` does."""
    number = body_number(system, body)
    measure = _Measure(system, number, progress or (lambda what, done, of_all: None))
    return measure.run(kinds, confirm)


class _Measure(Ways):
    def run(self, kinds: Collection[WayKind], confirm: Confirm | None = None) -> Margin:
        """The present pose, every way, the pass, and what releases say."""
        touched = self.at_magnet()
        if touched:
            return self._margin("touches", min(touched), (), None)
        self.progress("letting go", 0, 1)
        now = self.let_go()
        found, left = self._until_stopped(now.fate == "snaps", kinds)
        if left:
            return self._broken_off(now, found, None, left)
        barrier = told = None
        try:
            self.progress("over the pass", 0, 1)
            barrier = self._barrier(now, found)
            if confirm is not None:
                told, found = confirm(self, now, found)
            if all(t.confirmation is not None for _, t in found) or confirm is None:
                whole = self._margin(now.fate, now.struck, found, barrier)
            else:
                whole = self._broken_off(now, found, barrier)
        except KeyboardInterrupt:
            whole = self._broken_off(now, found, barrier)
        return whole if told is None else _with_release(whole, now.fate, told)

    def _until_stopped(
        self, snaps_now: bool, kinds: Collection[WayKind]
    ) -> tuple[list[MeasuredWay], tuple[WayKind, ...]]:
        """The ways that were measured, and the kinds of those that an interrupt left out."""
        every: list[PushWay | TiltWay] = [*self.pushes(), *self.turns()]
        ways = [w for w in every if kind_of(w) in kinds]
        found: list[MeasuredWay] = []
        try:
            for k, way in enumerate(ways):
                self.progress(f"how far: {kind_of(way)}", k, len(ways))
                found.append((way, self._threshold(way, snaps_now)))
        except KeyboardInterrupt:
            pass
        left = tuple(kind_of(w) for w in ways[len(found) :])
        return sorted(found, key=lambda pair: weakness(pair[1])), left

    def _broken_off(
        self,
        now: Crept,
        found: Sequence[MeasuredWay],
        barrier: Barrier | None,
        left: tuple[WayKind, ...] = (),
    ) -> Margin:
        """What was found until the user stopped the search."""
        whole = self._told(now.fate, now.struck, found, barrier)
        return replace(whole, interrupted=True, left=left)

    def _margin(
        self,
        fate: CreepFate | Literal["touches"],
        reached: int | None,
        found: Sequence[MeasuredWay],
        barrier: Barrier | None,
    ) -> Margin:
        """The whole, with the pushes that move it."""
        told = self._told(fate, reached, found, barrier)
        return replace(told, slips=slips(self), guided=guided_pushes(self, found))

    def _told(
        self,
        fate: CreepFate | Literal["touches"],
        reached: int | None,
        found: Sequence[MeasuredWay],
        barrier: Barrier | None,
    ) -> Margin:
        return Margin(
            self.system,
            self.body,
            self.place,
            fate,
            "" if reached is None else self.system.bodies[reached].name,
            self.fine.at(self.place).load,
            tuple(t for _, t in found),
            barrier,
            self.meshes.counts,
            self.meshes.order,
            self.fine.evaluations + self.coarse.evaluations,
        )

    # -- the pass --------------------------------------------------------------------------------

    def _barrier(self, now: Crept, ways: Sequence[MeasuredWay]) -> Barrier | None:
        """The lowest pass, from the best of the ways as a first guess."""
        guesses = [
            guess
            for way, threshold in ways
            if (guess := self._guess(now, way, threshold)) is not None
        ]
        if not guesses:
            return None
        guesses.sort(key=lambda places: max(self.coarse.at(p).energy for p in places))
        bound = highest_point(self.coarse, self.constraints, guesses[0])
        for places in guesses[:2]:
            found = lowest_pass(self.coarse, self.constraints, places)
            if found is not None and found.level.energy <= bound.level.energy:
                return self._judged(found)
        return self._judged(bound)

    def _guess(
        self, now: Crept, way: PushWay | TiltWay, threshold: Threshold
    ) -> list[Place] | None:
        """From the rest along a way past its threshold and on to where energy has fallen."""
        crossing = threshold.beyond or threshold.safe_from
        if crossing is None:
            return None
        snaps_now = threshold.beyond is None
        edge = crossing.coarse
        out = [p for s in np.linspace(0, edge, 12).tolist() if (p := way.at(s)) is not None]
        far = 0.04 * threshold.searched
        beyond = self.fate(self.coarse, way, max(edge - far, 0.0) if snaps_now else edge + far)
        back = (
            self.fate(self.coarse, way, min(edge + far, threshold.searched)) if snaps_now else now
        )
        if beyond is None or back is None or beyond.fate != "snaps" or back.fate == "snaps":
            return None
        if snaps_now:
            out = [*reversed(back.way), *reversed(out[-2:])]
        else:
            out = [*reversed(now.way), *out[1:]]
        base = self.coarse.at(out[0]).energy
        ahead = []
        for place in beyond.way:
            ahead.append(place)
            if self.coarse.at(place).energy < base - 0.05 * abs(
                self.coarse.at(out[-1]).energy - base
            ):
                break
        return [*out, *ahead]

    def _judged(self, found: Pass) -> Barrier:
        rest = self._rest(found.places[0])
        ends = [(x.at(rest).energy, x.at(found.place).energy) for x in (self.coarse, self.fine)]
        coarse, fine = (top - base for base, top in ends)
        if found.converged:
            top = polished(self.fine, self.constraints, found.place, rounds=4)
            fine = top.level.energy - ends[1][0] if top.outcome == "rest" else fine
        energy = self.quantity(coarse, fine)
        present = self.fine.at(self.place).energy
        words = found.stability.unstable
        return Barrier(
            energy,
            fine + ends[1][0] - present,
            float(np.sqrt(2 * max(energy.value, 0.0) / self.fine.mass)),
            found.steepest,
            words[0].words if words else "",
            rest,
            found,
        )

    def _rest(self, place: Place) -> Place:
        """The frictionless rest that a place is near to, if it is within a step; else the place."""
        found = settle(self.coarse, self.constraints, place, self.settings)
        near = np.linalg.norm(found.place.position - place.position) < self.settings.longest
        return found.place if found.outcome == "rest" and near else place


def worse_of(slow: CreepFate, now: LetGo) -> CreepFate:
    """Return what a part does when it is let go: the worse of a slow fall and a release."""
    if now.safe or slow == "snaps":
        return slow
    return "snaps" if now.kind in (FateKind.SNAPS, FateKind.TOUCHES) else "unfinished"


def _with_release(found: Margin, slow: CreepFate, now: LetGo) -> Margin:
    fate = worse_of(slow, now)
    reached = now.struck if fate == "snaps" and slow != "snaps" else found.reached
    return replace(found, now=now, fate=fate, reached=reached)
