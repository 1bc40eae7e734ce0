"""How far a part can be moved or turned, one way at a time, before it snaps.

Threshold of a way (`ways`): the least displacement or angle from the present pose from which the
part, let go at rest, ends at a magnet (a snap as `creep` decides it). Found by sampling the way on
coarse cells and halving the bracket there, then around it on fine ones; both meshes give the limit
and the error bar (`simulation.refinement`). Displaced parts are let go with a turn of `NUDGE` about
an axis oblique to the world's: no hand lets go exactly on a line of symmetry. In a turn the hand's
torque has its peak and its zero: beyond that the part goes on by itself. Weakest is the way that
costs the hand least:

    work = max over 0 <= r <= s of U(p(s)) - U(p(r))        [J]

up to the threshold, or up to where the way was followed: what falls on the way is lost. Where
coarse cells find no snap, fine ones are asked at `SECOND_LOOK` places: coarse ones pull too little.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass, replace
from typing import Final, Literal, get_args

import numpy as np
from scipy.optimize import brentq

from snapsim.arrays import Array
from snapsim.landscape.confirmation import Confirmation
from snapsim.landscape.constraints import Constraints
from snapsim.landscape.creep import (
    CreepSettings,
    Crept,
    attractors,
    creep,
)
from snapsim.landscape.energy import EnergyLandscape, EnergyLevel
from snapsim.landscape.place import Place, moved
from snapsim.landscape.rests import (
    descent_settings,
)
from snapsim.landscape.starts import search_box
from snapsim.landscape.ways import TOUCHING, PushWay, TiltWay, WayEnd, WayStop, pushes, turns
from snapsim.simulation.refinement import TwoMeshes, estimate_scalar, two_meshes
from snapsim.simulation.system import System
from snapsim.work.progress import Progress

NUDGE = np.radians(0.2)
"""Turn [rad] with which a displaced part is let go."""

OBLIQUE = np.array([0.36, 0.80, 0.48])
"""Its axis, a unit vector (3,)."""

AT_MAGNET = 1e-3
"""Gap [m] below which a part set there by hand counts as at the magnet."""

SAMPLES = 24
"""Places looked at along each way on coarse cells."""

SECOND_LOOK = 6
"""Places looked at on fine cells where coarse ones found no snap."""

DOUBT = 0.25
"""Error bar over a threshold that only one of the meshes shows."""

FINENESS = {"shift": 1e-4, "turn": np.radians(0.05)}
"""Width of a bracket at which halving ends [m, rad]."""


WayKind = Literal["lift", "approach", "push", "tilt"]
KINDS: Final[tuple[WayKind, ...]] = get_args(WayKind)


@dataclass(frozen=True)
class RefinedQuantity:
    """A number with its limit of vanishing cells: `value` and `error`, and on two meshes."""

    value: float
    error: float
    coarse: float
    fine: float


@dataclass(frozen=True)
class Threshold:
    """One way: `kind` "lift", "approach", "push" or "tilt"; `direction` (3,) of the displacement or
    axis of the turn.

    `beyond`: the least displacement [m] or angle [rad] that ends in a snap, None where none up to
    `searched` was found; `safe_from`: where the present pose already snaps, the least that does
    not. `stop` says why no more than `searched` was looked at, `undecided` is the least at which it
    was not found what becomes of the part, None where it always was. `effort`: the largest force
    [N] along it, or torque [N m] about its pivot, that the hand must give before the part goes;
    `effort_at` where [m, rad]; `work` [J] that it takes at least; `balance`: in a tilt, the angle
    at which that torque passes zero, None without one. `place` is where the part then is; `pivot`
    (3,) [m] what a tilt turns about there, None else. `one_mesh`: only one of the meshes shows the
    threshold, and its bar is `DOUBT` of it. `snaps_now`: the present pose snaps already, so that
    a way without a threshold snaps wherever it was looked at. All this is of a slow fall;
    `confirmation` is what releases say of it, None where none were asked for."""

    kind: WayKind
    direction: Array
    searched: float
    beyond: RefinedQuantity | None
    safe_from: RefinedQuantity | None
    effort: float
    effort_at: float
    balance: RefinedQuantity | None
    place: Place | None
    pivot: Array | None
    stop: WayStop
    work: float = 0.0
    undecided: float | None = None
    one_mesh: bool = False
    snaps_now: bool = False
    confirmation: Confirmation | None = None

    @property
    def found(self) -> bool:
        """Whether the outcome changes on this way."""
        return self.beyond is not None or self.safe_from is not None or self.by_release

    @property
    def by_release(self) -> bool:
        """Whether releases decide where it is safe, and not the slow fall."""
        return self.confirmation is not None and self.confirmation.decides

    @property
    def slow_least(self) -> float | None:
        """Where a snap begins to be possible in a slow fall [m, rad]: the threshold less its error
        bar; None without one."""
        return None if self.beyond is None else max(self.beyond.value - self.beyond.error, 0.0)

    @property
    def least(self) -> float | None:
        """Where a snap begins to be possible [m, rad], by the slow fall and by releases; None where
        neither has one, and where the present pose snaps."""
        slow = self.slow_least
        if self.confirmation is None or not self.by_release or self.safe_from is not None:
            return slow
        edge = self.confirmation.edge or 0.0
        return edge if slow is None else min(edge, slow)

    @property
    def no_snap_from(self) -> float | None:
        """Where the present pose snaps: from where on it does not [m, rad], error bar added; None
        where it is not known to."""
        if self.safe_from is None:
            return None
        slow = self.safe_from.value + self.safe_from.error
        if self.confirmation is None or not self.by_release:
            return slow
        edge = self.confirmation.edge
        return None if edge is None else max(edge, slow)


MeasuredWay = tuple[PushWay | TiltWay, Threshold]
"""A way and what was found on it."""


class Ways:
    """The present pose of one body and the ways it can go, on two meshes."""

    def __init__(self, system: System, body: int, progress: Progress) -> None:
        self.system, self.body, self.progress = system, body, progress
        self.meshes: TwoMeshes = two_meshes(system)
        self.fine = EnergyLandscape(system, body, meshes=self.meshes.fine)
        self.coarse = EnergyLandscape(system, body, meshes=self.meshes.coarse)
        self.constraints = Constraints(system, body)
        self.settings = descent_settings(self.coarse, self.constraints)
        self.creeping = CreepSettings(self.settings.longest, self.settings.far)
        self.place = self.constraints.restored(self.fine.start) or self.fine.start

    def at_magnet(self) -> frozenset[int]:
        """Return the numbers of the attracting bodies that the part touches as it is."""
        return self.constraints.touched(self.place, TOUCHING) & attractors(self.fine)

    def let_go(self) -> Crept:
        """Return what comes of letting the part go as it is."""
        return creep(self.fine, self.constraints, self.place, self.creeping)

    def measured(self, snaps_now: bool, kinds: Collection[WayKind] = KINDS) -> list[MeasuredWay]:
        """Return every way of some kinds with its threshold, the weakest first."""
        ways: list[PushWay | TiltWay] = [*self.pushes(), *self.turns()]
        return self.measured_on([w for w in ways if kind_of(w) in kinds], snaps_now)

    def measured_on(self, ways: Sequence[PushWay | TiltWay], snaps_now: bool) -> list[MeasuredWay]:
        """Return some ways with their thresholds, the weakest first."""
        found = []
        for k, way in enumerate(ways):
            self.progress(f"how far: {kind_of(way)}", k, len(ways))
            found.append((way, self._threshold(way, snaps_now)))
        return sorted(found, key=lambda pair: weakness(pair[1]))

    def pushes(self) -> list[PushWay]:
        """Return lift, approach and level pushes of the part."""
        low, high = search_box(self.coarse)
        farthest = 0.75 * float((high - low).max())
        return pushes(self.coarse, self.constraints, self.place, farthest)

    def turns(self) -> list[TiltWay]:
        """Return the turns of the part."""
        return turns(self.coarse, self.constraints, self.place)

    # -- one way ---------------------------------------------------------------------------------

    def _threshold(self, way: PushWay | TiltWay, snaps_now: bool) -> Threshold:
        searched, stop = self.reach(way)
        self._undecided: float | None = None
        crossing, one_mesh = self._crossing(way, searched, snaps_now)
        limit = None if crossing is None else float(crossing.fine)
        effort, at, work = self.effort(way, searched if limit is None else limit)
        tilt = isinstance(way, TiltWay)
        place = None if limit is None else way.at(min(limit, searched))
        return Threshold(
            kind=kind_of(way),
            direction=way.axis if tilt else way.direction,  # type: ignore[union-attr]
            searched=searched,
            beyond=None if snaps_now else crossing,
            safe_from=crossing if snaps_now else None,
            effort=effort,
            effort_at=at,
            balance=self._balance(way) if tilt and searched > 0 else None,  # type: ignore[arg-type]
            place=place,
            pivot=way.pivot_at(limit or 0.0) if tilt else None,  # type: ignore[union-attr]
            stop=stop,
            work=work,
            undecided=self._undecided,
            one_mesh=one_mesh,
            snaps_now=snaps_now,
        )

    def decided(
        self, way: PushWay | TiltWay, t: Threshold, confirmation: Confirmation
    ) -> Threshold:
        """Return a threshold with what releases say of it: effort and place are those up to where a
        snap may now begin."""
        said = replace(t, confirmation=confirmation)
        limit = said.least
        if not said.by_release or limit is None or t.safe_from is not None:
            return said
        effort, at, work = self.effort(way, limit)
        pivot = way.pivot_at(limit) if isinstance(way, TiltWay) else None
        return replace(
            said, effort=effort, effort_at=at, work=work, place=way.at(limit), pivot=pivot
        )

    def reach(self, way: PushWay | TiltWay) -> tuple[float, WayStop]:
        """Return how far a way can go [m, rad] before something is in the way, and what."""
        if isinstance(way, TiltWay):
            return way.longest, way.stop
        reached, stop = way.reach(SAMPLES)
        if stop.body in attractors(self.fine):
            stop = WayStop(WayEnd.AT_MAGNET, stop.body)
        return reached, stop

    def fate(self, landscape: EnergyLandscape, way: PushWay | TiltWay, s: float) -> Crept | None:
        """What comes of letting go at s; None where the part cannot be there."""
        place = let_go_at(way, s)
        if place is None:
            return None
        place = self.constraints.restored(place, 2e-3)
        if place is None:
            return None
        return creep(landscape, self.constraints, place, self.creeping)

    def _snaps(self, landscape: EnergyLandscape, way: PushWay | TiltWay, s: float) -> bool | None:
        """Whether it snaps from s; places that all but touch a magnet count as snapped."""
        place = way.at(s)
        if place is not None and self.gap(place) < AT_MAGNET:
            return True
        found = self.fate(landscape, way, s)
        if found is None or found.fate == "unfinished":
            if self._undecided is None or s < self._undecided:
                self._undecided = s
            return None
        return found.fate == "snaps"

    def gap(self, place: Place) -> float:
        """Return the gap to the nearest attracting body [m]."""
        drawing = np.isin(self.constraints.others, list(attractors(self.fine)))
        return float(self.constraints.gaps(place)[drawing].min(initial=np.inf))

    def _crossing(
        self, way: PushWay | TiltWay, searched: float, snaps_now: bool
    ) -> tuple[RefinedQuantity | None, bool]:
        """The first s at which the outcome is not the one at 0, and whether one mesh alone has
        it."""
        if searched <= 0.0:
            return None, False
        coarse = self._first(self.coarse, way, np.linspace(0.0, searched, SAMPLES + 1), snaps_now)
        if coarse is not None:
            found = self._on_fine(way, coarse, searched, snaps_now)
            return (found, False) if found is not None else (_doubted(coarse), True)
        if snaps_now:
            return None, False
        again = np.linspace(0.0, searched, SECOND_LOOK + 1)
        fine = self._first(self.fine, way, again, snaps_now)
        return (None, False) if fine is None else (_doubted(fine), True)

    def _first(
        self, landscape: EnergyLandscape, way: PushWay | TiltWay, samples: Array, snaps_now: bool
    ) -> float | None:
        """The first s on one mesh, in a bracket halved; None where no sample shows it."""
        before = 0.0
        for s in samples[1:].tolist():
            there = self._snaps(landscape, way, s)
            if there is not None and there != snaps_now:
                return self._halved(landscape, way, before, s, snaps_now)
            before = s
        return None

    def _halved(
        self,
        landscape: EnergyLandscape,
        way: PushWay | TiltWay,
        low: float,
        high: float,
        at_low: bool,
    ) -> float:
        width = FINENESS["turn" if isinstance(way, TiltWay) else "shift"]
        while high - low > width:
            middle = 0.5 * (low + high)
            if self._snaps(landscape, way, middle) in (at_low, None):
                low = middle
            else:
                high = middle
        return 0.5 * (low + high)

    def _on_fine(
        self, way: PushWay | TiltWay, coarse: float, longest: float, snaps_now: bool
    ) -> RefinedQuantity | None:
        """The same on fine cells, in a bracket that grows round the coarse result."""
        width = 0.5 * longest / SAMPLES
        low, high = max(coarse - width, 0.0), min(coarse + width, longest)
        while low > 0 and self._snaps(self.fine, way, low) not in (snaps_now, None):
            low, width = max(low - 2 * width, 0.0), 2 * width
        while high < longest and self._snaps(self.fine, way, high) in (snaps_now, None):
            low, high, width = high, min(high + 2 * width, longest), 2 * width
        if self._snaps(self.fine, way, high) in (snaps_now, None):
            return None
        fine = self._halved(self.fine, way, low, high, snaps_now)
        # halving leaves half a bracket on either mesh
        left = FINENESS["turn" if isinstance(way, TiltWay) else "shift"]
        return self.quantity(coarse, fine, left)

    def quantity(self, coarse: float, fine: float, left: float = 0.0) -> RefinedQuantity:
        """Return the limit of two meshes; `left` is added to the error bar."""
        estimate = estimate_scalar(coarse, fine, self.meshes)
        return RefinedQuantity(float(estimate.value), float(estimate.error + left), coarse, fine)

    def effort(self, way: PushWay | TiltWay, until: float) -> tuple[float, float, float]:
        """Return the largest force or torque of the hand up to `until`, where (0 where it need
        not), and the work [J]."""
        best, at, lowest, top = 0.0, 0.0, np.inf, 0.0
        for s in np.linspace(0.0, until, SAMPLES + 1).tolist():
            place = way.at(s)
            if place is None:
                continue
            level = self.coarse.at(place)
            lowest = min(lowest, level.energy)
            top = max(top, level.energy - lowest)
            needed = _needed(way, s, place, level)
            if needed > best:
                best, at = needed, s
        place = way.at(at) if best > 0 else None
        fine = best if place is None else _needed(way, at, place, self.fine.at(place))
        return max(fine, 0.0), at, top

    def _balance(self, way: TiltWay) -> RefinedQuantity | None:
        """The angle at which the hand's torque passes zero downward, on both meshes."""
        torque = [way.torque(self.coarse, float(b)) for b in way.angle]
        for k in range(len(torque) - 1):
            if torque[k] > 0 >= torque[k + 1]:
                low, high = float(way.angle[k]), float(way.angle[k + 1])
                coarse = _zero(lambda b: way.torque(self.coarse, b), low, high)
                return self._fine_balance(way, coarse)
        return None

    def _fine_balance(self, way: TiltWay, coarse: float) -> RefinedQuantity | None:
        width = 0.02
        while width < 0.5:
            low, high = max(coarse - width, 0.0), min(coarse + width, way.longest)
            if way.torque(self.fine, low) > 0 >= way.torque(self.fine, high):
                fine = _zero(lambda b: way.torque(self.fine, b), low, high)
                return self.quantity(coarse, fine)
            width *= 2
        return None


def _needed(way: PushWay | TiltWay, s: float, place: Place, level: EnergyLevel) -> float:
    """Force [N] or torque [N m] of the hand at s, where the part is at a place."""
    if isinstance(way, TiltWay):
        return float(level.slope @ way.motion(place, s))
    return float(level.slope[:3] @ way.direction)


def _zero(f: Callable[[float], float], low: float, high: float) -> float:
    """Where f passes zero; the end that it is nearest to zero at where rounding took the sign."""
    ends = f(low), f(high)
    if ends[0] * ends[1] > 0:
        return low if abs(ends[0]) < abs(ends[1]) else high
    return float(brentq(f, low, high, xtol=1e-6))


def _doubted(s: float) -> RefinedQuantity:
    """A threshold that one mesh alone shows."""
    return RefinedQuantity(s, DOUBT * s, s, s)


def weakness(t: Threshold) -> tuple[bool, float]:
    """Order of ways: those that end in a snap first, of these those that take the least work."""
    return not t.found, t.work


def kind_of(way: PushWay | TiltWay) -> WayKind:
    """Return what a way is called."""
    return "tilt" if isinstance(way, TiltWay) else way.kind  # type: ignore[return-value]


def let_go_at(way: PushWay | TiltWay, s: float) -> Place | None:
    """Return the place from which the part is let go at s: of a push with the nudge."""
    place = way.at(s)
    if place is None or isinstance(way, TiltWay):
        return place
    return moved(place, np.concatenate([np.zeros(3), NUDGE * OBLIQUE]))
