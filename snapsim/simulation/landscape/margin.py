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

Creep leaves out the speed gained on the way, friction is Coulomb's, hands let go at once and other
bodies stay: a margin is no safe distance.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from scipy.optimize import brentq

from snapsim.arrays import Array
from snapsim.simulation.landscape.constraints import Constraints
from snapsim.simulation.landscape.creep import (
    CreepSettings,
    Crept,
    Fate,
    attractors,
    creep,
)
from snapsim.simulation.landscape.descent import settle
from snapsim.simulation.landscape.energy import EnergyLandscape
from snapsim.simulation.landscape.path import Pass, highest_point, lowest_pass, polished
from snapsim.simulation.landscape.place import Place, moved
from snapsim.simulation.landscape.rests import (
    Progress,
    body_number,
    descent_settings,
)
from snapsim.simulation.landscape.starts import search_box
from snapsim.simulation.landscape.ways import TOUCHING, Push, Turn, pushes, turns
from snapsim.simulation.refinement import TwoMeshes, estimate_scalar, two_meshes
from snapsim.simulation.system import System

NUDGE = np.radians(0.2)
"""Turn [rad] with which a displaced part is let go."""

OBLIQUE = np.array([0.36, 0.80, 0.48])
"""Its axis, a unit vector (3,)."""

AT_MAGNET = 1e-3
"""Gap [m] below which a part set there by hand counts as at the magnet."""

SAMPLES = 24
"""Places looked at along each way on coarse cells."""

FINENESS = {"shift": 1e-4, "turn": np.radians(0.05)}
"""Width of a bracket at which halving ends [m, rad]."""


@dataclass(frozen=True)
class Quantity:
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
    `searched` does; `safe_from`: where the present pose already snaps, the least that does not.
    `effort`: the largest force [N] along it, or torque [N m] about its pivot, that the hand must
    give before the part goes; `effort_at` where [m, rad]; `balance`: in a tilt, the angle at which
    that torque passes zero, None without one. `place` is where the part then is; `ended` what a
    tilt met.
    """

    kind: Literal["lift", "approach", "push", "tilt"]
    direction: Array
    searched: float
    beyond: Quantity | None
    safe_from: Quantity | None
    effort: float
    effort_at: float
    balance: Quantity | None
    place: Place | None
    ended: str


@dataclass(frozen=True)
class Barrier:
    """The lowest pass found between `rest` and the magnet. `energy` [J] above the rest, and above
    the `present` pose [J] (negative: it is past the pass in energy); `nudge` [m/s]; `force` [N];
    `leaves` says along which motion; `top` is the pass itself on coarse cells."""

    energy: Quantity
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
    weight included; `cells` coarse and fine."""

    system: System
    body: int
    place: Place
    fate: Fate | Literal["touches"]
    reached: str
    load: Array
    thresholds: tuple[Threshold, ...]
    barrier: Barrier | None
    cells: tuple[int, int]
    order: float
    evaluations: int


def margin(system: System, body: str | None = None, progress: Progress | None = None) -> Margin:
    """Return how far a body is from snapping; raises InputError as `rests.body_number` does."""
    number = body_number(system, body)
    return _Measure(system, number, progress or (lambda what, done, of_all: None)).run()


class _Measure:
    def __init__(self, system: System, body: int, progress: Progress) -> None:
        self.system, self.body, self.progress = system, body, progress
        self.meshes: TwoMeshes = two_meshes(system)
        self.fine = EnergyLandscape(system, body, meshes=self.meshes.fine)
        self.coarse = EnergyLandscape(system, body, meshes=self.meshes.coarse)
        self.constraints = Constraints(system, body)
        self.settings = descent_settings(self.coarse, self.constraints)
        self.creeping = CreepSettings(self.settings.longest, self.settings.far)
        self.place = self.constraints.restored(self.fine.start) or self.fine.start

    def run(self) -> Margin:
        """The present pose, every way, the pass."""
        touched = self.constraints.touched(self.place, TOUCHING) & attractors(self.fine)
        if touched:
            return self._margin("touches", min(touched), (), None)
        self.progress("letting go", 0, 1)
        now = creep(self.fine, self.constraints, self.place, self.creeping)
        ways: list[Push | Turn] = [*self._pushes(), *self._turns()]
        found = []
        for k, way in enumerate(ways):
            self.progress("how far each way", k, len(ways))
            found.append(self._threshold(way, now.fate == "snaps"))
        self.progress("over the pass", 0, 1)
        barrier = self._barrier(now, list(zip(ways, found, strict=True)))
        return self._margin(now.fate, now.struck, tuple(found), barrier)

    def _margin(
        self,
        fate: Fate | Literal["touches"],
        reached: int | None,
        found: tuple[Threshold, ...],
        barrier: Barrier | None,
    ) -> Margin:
        return Margin(
            self.system,
            self.body,
            self.place,
            fate,
            "" if reached is None else self.system.bodies[reached].name,
            self.fine.at(self.place).load,
            found,
            barrier,
            self.meshes.counts,
            self.meshes.order,
            self.fine.evaluations + self.coarse.evaluations,
        )

    def _pushes(self) -> list[Push]:
        low, high = search_box(self.coarse)
        farthest = 0.75 * float((high - low).max())
        return pushes(self.coarse, self.constraints, self.place, farthest)

    def _turns(self) -> list[Turn]:
        """Turns with some way to go."""
        found = turns(self.coarse, self.constraints, self.place)
        return [t for t in found if len(t.angle) > 2]

    # -- one way ---------------------------------------------------------------------------------

    def _threshold(self, way: Push | Turn, snaps_now: bool) -> Threshold:
        searched = way.longest if isinstance(way, Turn) else self._reach(way)
        samples = np.linspace(0.0, searched, SAMPLES + 1)
        crossing = self._crossing(way, samples, snaps_now)
        limit = None if crossing is None else float(crossing.fine)
        effort, at = self._effort(way, searched if limit is None else limit)
        return Threshold(
            "tilt" if isinstance(way, Turn) else way.kind,  # type: ignore[arg-type]
            way.axis if isinstance(way, Turn) else way.direction,
            searched,
            None if snaps_now else crossing,
            crossing if snaps_now else None,
            effort,
            at,
            self._balance(way) if isinstance(way, Turn) else None,
            None if limit is None else way.at(min(limit, searched)),
            way.ended if isinstance(way, Turn) else "",
        )

    def _reach(self, way: Push) -> float:
        """How far a push can go before something is in the way [m]."""
        reached, step = 0.0, way.longest / SAMPLES
        while reached < way.longest and way.at(reached + step) is not None:
            reached += step
        low, high = reached, min(reached + step, way.longest)
        while high - low > 1e-4:
            middle = 0.5 * (low + high)
            low, high = (middle, high) if way.at(middle) is not None else (low, middle)
        return low

    def _fate(self, landscape: EnergyLandscape, way: Push | Turn, s: float) -> Crept | None:
        """What comes of letting go at s; None where the part cannot be there."""
        place = let_go_at(way, s)
        if place is None:
            return None
        place = self.constraints.restored(place, 2e-3)
        if place is None:
            return None
        return creep(landscape, self.constraints, place, self.creeping)

    def _snaps(self, landscape: EnergyLandscape, way: Push | Turn, s: float) -> bool | None:
        """Whether it snaps from s; places that all but touch a magnet count as snapped."""
        place = way.at(s)
        if place is not None and self._gap(place) < AT_MAGNET:
            return True
        found = self._fate(landscape, way, s)
        return None if found is None else found.fate == "snaps"

    def _gap(self, place: Place) -> float:
        """Gap to the nearest attracting body [m]."""
        drawing = np.isin(self.constraints.others, list(attractors(self.fine)))
        return float(self.constraints.gaps(place)[drawing].min(initial=np.inf))

    def _crossing(self, way: Push | Turn, samples: Array, snaps_now: bool) -> Quantity | None:
        """The first s at which the outcome is not the one at 0, on both meshes."""
        before = 0.0
        for s in samples[1:].tolist():
            there = self._snaps(self.coarse, way, s)
            if there is not None and there != snaps_now:
                coarse = self._halved(self.coarse, way, before, s, snaps_now)
                return self._on_fine(way, coarse, float(samples[-1]), snaps_now)
            before = s
        return None

    def _halved(
        self, landscape: EnergyLandscape, way: Push | Turn, low: float, high: float, at_low: bool
    ) -> float:
        width = FINENESS["turn" if isinstance(way, Turn) else "shift"]
        while high - low > width:
            middle = 0.5 * (low + high)
            if self._snaps(landscape, way, middle) in (at_low, None):
                low = middle
            else:
                high = middle
        return 0.5 * (low + high)

    def _on_fine(
        self, way: Push | Turn, coarse: float, longest: float, snaps_now: bool
    ) -> Quantity | None:
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
        left = FINENESS["turn" if isinstance(way, Turn) else "shift"]
        return self._quantity(coarse, fine, left)

    def _quantity(self, coarse: float, fine: float, left: float = 0.0) -> Quantity:
        estimate = estimate_scalar(coarse, fine, self.meshes)
        return Quantity(float(estimate.value), float(estimate.error + left), coarse, fine)

    def _effort(self, way: Push | Turn, until: float) -> tuple[float, float]:
        """Largest force or torque of the hand up to `until`, and where; 0 where it need not."""
        best, at = 0.0, 0.0
        for s in np.linspace(0.0, until, SAMPLES + 1).tolist():
            needed = self._needed(self.coarse, way, s)
            if needed is not None and needed > best:
                best, at = needed, s
        fine = self._needed(self.fine, way, at) if best > 0 else None
        return (best if fine is None else max(fine, 0.0)), at

    def _needed(self, landscape: EnergyLandscape, way: Push | Turn, s: float) -> float | None:
        if isinstance(way, Turn):
            return way.torque(landscape, s)
        place = way.at(s)
        if place is None:
            return None
        return float(landscape.at(place).slope[:3] @ way.direction)

    def _balance(self, way: Turn) -> Quantity | None:
        """The angle at which the hand's torque passes zero downward, on both meshes."""
        torque = [way.torque(self.coarse, float(b)) for b in way.angle]
        for k in range(len(torque) - 1):
            if torque[k] > 0 >= torque[k + 1]:
                low, high = float(way.angle[k]), float(way.angle[k + 1])
                coarse = brentq(lambda b: way.torque(self.coarse, b), low, high, xtol=1e-6)
                return self._fine_balance(way, float(coarse))
        return None

    def _fine_balance(self, way: Turn, coarse: float) -> Quantity | None:
        width = 0.02
        while width < 0.5:
            low, high = max(coarse - width, 0.0), min(coarse + width, way.longest)
            if way.torque(self.fine, low) > 0 >= way.torque(self.fine, high):
                fine = brentq(lambda b: way.torque(self.fine, b), low, high, xtol=1e-6)
                return self._quantity(coarse, float(fine))
            width *= 2
        return None

    # -- the pass --------------------------------------------------------------------------------

    def _barrier(self, now: Crept, ways: Sequence[tuple[Push | Turn, Threshold]]) -> Barrier | None:
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

    def _guess(self, now: Crept, way: Push | Turn, threshold: Threshold) -> list[Place] | None:
        """From the rest along a way past its threshold and on to where energy has fallen."""
        crossing = threshold.beyond or threshold.safe_from
        if crossing is None:
            return None
        snaps_now = threshold.beyond is None
        edge = crossing.coarse
        out = [p for s in np.linspace(0, edge, 12).tolist() if (p := way.at(s)) is not None]
        far = 0.04 * threshold.searched
        beyond = self._fate(self.coarse, way, max(edge - far, 0.0) if snaps_now else edge + far)
        back = (
            self._fate(self.coarse, way, min(edge + far, threshold.searched)) if snaps_now else now
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
        energy = self._quantity(coarse, fine)
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


def let_go_at(way: Push | Turn, s: float) -> Place | None:
    """Return the place from which the part is let go at s: of a push with the nudge."""
    place = way.at(s)
    if place is None or isinstance(way, Turn):
        return place
    return moved(place, np.concatenate([np.zeros(3), NUDGE * OBLIQUE]))
