"""Rests of several free bodies together: where all of them stay at once, and which way they leave.

Descents without friction of the whole arrangement (`several`, `descent`) from the present one, from
each body in the rests' places of an arrangement of the trade's (side by side, end to end, face to
face under each pole, one above the other), and from drawn ones. Merged where the same bodies touch,
the parts lie alike and the energies agree. Stable where the energy curves upward along every motion
that loaded contacts and joints leave. Nothing proves that no rest is missed; friction is left out,
so rests that only friction holds are not among these.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np
from scipy.optimize import nnls
from scipy.stats import qmc

from snapsim.arrays import Array
from snapsim.errors import InputError
from snapsim.landscape.descent import Settled, settle
from snapsim.landscape.energy import EnergyLandscape
from snapsim.landscape.lie import Lie, lie, telling_axis
from snapsim.landscape.motion import said
from snapsim.landscape.place import metric
from snapsim.landscape.several import (
    Arrangement,
    PairLimits,
    SeveralConstraints,
    SeveralLandscape,
    free_bodies,
    one_of,
    several_settings,
)
from snapsim.landscape.stability import NEUTRAL, STEP, StabilityVerdict, free_motions
from snapsim.landscape.starts import search_box, uniform_rotation
from snapsim.landscape.symmetry import idle_directions
from snapsim.numerics import rotations
from snapsim.numerics.quadratic_program import minimise
from snapsim.simulation.system import System
from snapsim.work.progress import Progress

COARSE = 60
"""Cells of each soft part in the search."""

ALIKE = 3e-2
"""Share of the magnetic energy by which arrangements that count as one may differ."""

LEAN = np.radians(8.0)
"""Difference of the axes' angles from the vertical up to which parts lie alike."""

KEPT = 2
"""Newton steps that close contacts after a small motion: what is left is of fourth order."""

GAP = 2e-4
"""Gap [m] at which bodies are set before a descent."""


@dataclass(frozen=True)
class JointRest:
    """One arrangement at rest: `energy` = `magnetic` + `gravity` [J]; `touches` pairs of names;
    `holding` [N]: the force between each of them, the tension of each string; `lies`, how each body
    lies; `between` [N]: the force (3,) on the first of each pair of free bodies from the second;
    `verdict` and, where it is left, the motion in `leaves`; `found`: how many starts came here."""

    place: Arrangement
    energy: float
    magnetic: float
    gravity: float
    touches: tuple[tuple[str, str], ...]
    holding: Mapping[str, float]
    lies: tuple[Lie, ...]
    between: Mapping[tuple[str, str], Array]
    verdict: StabilityVerdict
    leaves: tuple[str, ...]
    found: int


@dataclass(frozen=True)
class JointRests:
    """All arrangements found, lowest energy first. `starts` made of `planned`; how many left the
    scene or came to no end; `interrupted` by the user."""

    system: System
    bodies: tuple[int, ...]
    rests: tuple[JointRest, ...]
    starts: int
    planned: int
    away: int
    unfinished: int
    interrupted: bool
    cells: int
    seed: int
    evaluations: int


@dataclass
class _Kind:
    """Arrangements that count as one: the lowest of them."""

    settled: Settled
    found: int = 1


def joint_rests(
    system: System, count: int = 12, seed: int = 1, progress: Progress | None = None
) -> JointRests:
    """Return the rests of all free bodies together; raises InputError for fewer than two."""
    numbers = free_bodies(system)
    if len(numbers) < 2:
        raise InputError(
            "needs two free bodies at least", file=system.file or None, key="--together"
        )
    return _Together(system, numbers, progress or (lambda what, done, of_all: None)).run(
        count, seed
    )


class _Together:
    def __init__(self, system: System, numbers: list[int], progress: Progress) -> None:
        self.system, self.numbers, self.progress = system, numbers, progress
        self.landscape = SeveralLandscape(system, numbers, COARSE)
        self.constraints = SeveralConstraints(system, numbers)
        thin = min(float(b.shape.extents.min()) for b in system.bodies)
        longest = float(np.clip(0.5 * thin, 1e-4, 0.2 * self.landscape.radius))
        self.low, self.high = _box(system, numbers)
        far = float(np.linalg.norm(self.high - self.low)) + 1.0
        self.settings = several_settings(self.landscape, longest, far)
        self.kinds: list[_Kind] = []
        self.away = self.unfinished = self.made = 0

    def run(self, count: int, seed: int) -> JointRests:
        """Search, merge, judge; what was found until an interrupt is judged too."""
        first = list(self._starts(count, seed))
        interrupted = False
        try:
            for k, place in enumerate(first):
                self.progress(f"arrangements: {len(self.kinds)} rests found", k, len(first))
                self._take(settle(self.landscape, self.constraints, place, self.settings))
                self.made = k + 1
        except KeyboardInterrupt:
            interrupted = True
        rests = []
        try:
            for k, kind in enumerate(self.kinds):
                self.progress("judging arrangements", k, len(self.kinds))
                rests.append(self._rest(kind))
        except KeyboardInterrupt:
            interrupted = True
        rests.sort(key=lambda r: r.energy)
        cells = sum(len(m.volume) for m in self.landscape.model.cells.values())
        return JointRests(
            self.system, tuple(self.numbers), tuple(rests), self.made, len(first), self.away,
            self.unfinished, interrupted, cells, seed, self.landscape.evaluations,
        )  # fmt: skip

    # -- starts ----------------------------------------------------------------------------------

    def _starts(self, count: int, seed: int) -> Iterator[Arrangement]:
        """The present arrangement, those of the trade, drawn ones; none overlapping."""
        yield from self._clear(self.landscape.start)
        for place in self._arranged():
            yield from self._clear(place)
        size, found = len(self.numbers), 0
        points = qmc.Sobol(6 * size, seed=seed).random(
            2 ** int(np.ceil(np.log2(4 * max(count, 1))))
        )
        for u in points.reshape(-1, size, 6):
            if found == count:
                return
            position = self.low + u[:, :3] * (self.high - self.low)
            turns = np.array([uniform_rotation(one[3:]) for one in u])
            for clear in self._clear(Arrangement(position, turns)):
                found += 1
                yield clear

    def _clear(self, place: Arrangement) -> Iterator[Arrangement]:
        """The place itself where nothing overlaps, drawn in by its joints; else nothing."""
        if self.constraints.gaps(place).min(initial=np.inf) < 0:
            return
        there = self.constraints.restored(place)
        if there is not None:
            yield Arrangement(there.position, there.quaternion)

    def _arranged(self) -> Iterator[Arrangement]:
        """The first two bodies side by side and face to face under each pole, flat and on edge, and
        as they are but face to face; others where they are."""
        start = self.landscape.start
        for i, body in enumerate(self.system.bodies):
            if not (body.fixed and body.is_magnet):
                continue
            pose = self.system.start.pose
            centre, frame = pose.position[i], rotations.matrix(pose.quaternion[i])
            face = float(np.abs(frame[2]) @ body.shape.extents)
            for way in ("x", "y", "z"):
                for beside in (True, False):
                    for upright in (True, False):
                        yield self._pair(start, centre, face, way, beside, upright)

    def _pair(
        self, start: Arrangement, centre: Array, face: float, way: str, beside: bool, upright: bool
    ) -> Arrangement:
        """Two parts under a pole along one of its axes, their own along it or not."""
        axis = np.eye(3)["xyz".index(way)]
        position, quaternion = start.position.copy(), start.quaternion.copy()
        first, second = self.landscape.bodies[:2]
        across = (
            axis if not beside else (np.array([0.0, 0.0, 1.0]) if not upright else _other(axis))
        )
        reach = []
        for k, part in enumerate((first, second)):
            own, _ = telling_axis(part)
            quaternion[k] = _turning(own, across)
            turned = rotations.matrix(quaternion[k])
            reach.append(np.abs(turned) @ part.shape.extents)
        apart = 0.5 * float((reach[0] + reach[1]) @ np.abs(axis)) + GAP
        top = centre[2] - face - max(reach[0][2], reach[1][2]) - GAP
        if way == "z":
            top -= apart
        middle = np.array([centre[0], centre[1], top])
        position[0], position[1] = middle + apart * axis, middle - apart * axis
        return Arrangement(position, quaternion)

    # -- merging ---------------------------------------------------------------------------------

    def _take(self, found: Settled) -> None:
        if found.outcome == "away":
            self.away += 1
            return
        # a descent that ran out of steps within a thousandth of balance is as good as at rest
        if found.outcome == "unfinished" and not self._nearly(found):
            self.unfinished += 1
            return
        for kind in self.kinds:
            if self._same(kind.settled, found):
                kind.found += 1
                if found.level.energy < kind.settled.level.energy:
                    kind.settled = found
                return
        self.kinds.append(_Kind(found))

    def _nearly(self, found: Settled) -> bool:
        """Whether what no contact bears is less than a hundredth of the load."""
        left, _ = self._borne(found)
        size = float(np.linalg.norm(found.level.slope))
        return float(np.linalg.norm(left)) < 1e-2 * max(size, 1e-9)

    def _borne(self, found: Settled) -> tuple[Array, PairLimits]:
        """The slope less what closed rows bear, and these rows."""
        touching = self.constraints.limits(found.place, 1e-5).touching(2e-6)
        measure = self.landscape.measure(found.place)
        none = np.zeros(len(touching.gap))
        program = minimise(
            measure, found.level.slope, touching.jacobian, none,
            touching.equality, np.zeros(len(touching.equality)),
        )  # fmt: skip
        left = found.level.slope if program is None else measure @ program.d
        return left, touching

    def _same(self, one: Settled, other: Settled) -> bool:
        scale = ALIKE * max(abs(one.level.magnetic), abs(other.level.magnetic), 1e-9)
        pairs = [self.constraints.touching_pairs(s.place) for s in (one, other)]
        if abs(one.level.energy - other.level.energy) > scale or pairs[0] != pairs[1]:
            return False
        leans = [self._leans(s.place) for s in (one, other)]
        return bool(np.abs(leans[0] - leans[1]).max() < LEAN)

    def _leans(self, place: object) -> Array:
        """Angle of each part's telling axis from the vertical, smallest first."""
        assert isinstance(place, Arrangement)
        found = []
        for k, body in enumerate(self.landscape.bodies):
            axis = rotations.rotate(place.quaternion[k], telling_axis(body)[0])
            found.append(float(np.arccos(min(1.0, abs(float(axis[2]))))))
        return np.sort(found)

    # -- judging ---------------------------------------------------------------------------------

    def _rest(self, kind: _Kind) -> JointRest:
        s, names = kind.settled, [b.name for b in self.system.bodies]
        place = Arrangement(s.place.position, s.place.quaternion)
        pose = self.constraints.pose(place)
        verdict, leaves = self._judged(s)
        loads = self.landscape.model.loads_between(pose, self.landscape.state(place))
        pairs = [(i, j) for i in self.numbers for j in self.numbers if i < j]
        return JointRest(
            place=place,
            energy=s.level.energy,
            magnetic=s.level.magnetic,
            gravity=s.level.gravity,
            touches=tuple(
                (names[a], names[b]) for a, b in sorted(self.constraints.touching_pairs(place))
            ),
            holding=self._holding(s),
            lies=tuple(lie(self.system, i, pose) for i in self.numbers),
            between={(names[i], names[j]): loads[i, j, :3] for i, j in pairs},
            verdict=verdict,
            leaves=leaves,
            found=kind.found,
        )

    def _holding(self, s: Settled) -> dict[str, float]:
        """Force [N] in each contact and string."""
        touching = self.constraints.limits(s.place, 1e-5).touching(2e-6)
        if not len(touching.gap):
            return {}
        push = nnls(np.hstack([touching.jacobian.T, touching.equality.T, -touching.equality.T]),
                    s.level.slope)[0]  # fmt: skip
        names = [b.name for b in self.system.bodies]
        found: dict[str, float] = {}
        for (a, b), p in zip(touching.pair.tolist(), push, strict=False):
            key = f"{names[a]} on {names[b]}"
            found[key] = found.get(key, 0.0) + float(p)
        for j, p in zip(touching.joint.tolist(), push[len(touching.pair) :], strict=False):
            found[self.system.joints[j].name] = float(p)
        return {key: p for key, p in found.items() if p > 1e-9}

    def _judged(self, s: Settled) -> tuple[StabilityVerdict, tuple[str, ...]]:
        """Curvature of the energy along the motions that loaded rows leave, by differences of the
        slope less what these rows bear."""
        touching = self.constraints.limits(s.place, 1e-5).touching(2e-6)
        measure = self.landscape.measure(s.place)
        push = np.zeros(len(touching.gap))
        if len(push):
            push = nnls(touching.jacobian.T, s.level.slope)[0]
        load = float(np.linalg.norm(s.level.force)) + self.landscape.mass * 9.81
        loaded = push > 1e-4 * load
        kept = [touching.jacobian[loaded], touching.equality, self._idle(s, touching)]
        basis = free_motions(np.vstack(kept), measure)
        if not basis.shape[1]:
            return "stable", ()
        curved = self._curvature(s, basis)
        values, vectors = np.linalg.eigh(curved)
        floor = 10 * NEUTRAL * load / self.landscape.radius
        leaving = [basis @ v for value, v in zip(values, vectors.T, strict=True) if value < -floor]
        words = tuple(self._said(s, d, touching) for d in leaving)
        if not leaving:
            return "stable", ()
        return ("saddle" if loaded.any() or (values > floor).any() else "unstable"), words

    def _idle(self, s: Settled, touching: PairLimits) -> Array:
        """Turns (j, 6 n) of round parts that make no difference: cells would make one of them."""
        pulled = {i for j in touching.joint.tolist() for i in self.system.joints[j].bodies}
        found = [np.zeros((0, 6 * len(self.numbers)))]
        for k, (number, body) in enumerate(zip(self.numbers, self.landscape.bodies, strict=True)):
            directions = idle_directions(body)
            if directions is not None and number not in pulled:
                own = directions(one_of(s.place, k))
                rows = np.zeros((len(own), 6 * len(self.numbers)))
                rows[:, 6 * k : 6 * k + 6] = own
                found.append(rows)
        return np.vstack(found)

    def _curvature(self, s: Settled, basis: Array) -> Array:
        """Second differences of the energy (j, j) [N/m] along a basis, loaded contacts closed."""
        h, count = STEP * self.landscape.radius, basis.shape[1]
        limits = self.constraints.limits(s.place, 1e-3)
        borne = limits.jacobian.T @ _push(limits, s.level.slope)

        def energy(t: Array) -> float:
            place = self._kept(self.landscape.moved(s.place, basis @ t), borne)
            return self.landscape.at(place).energy

        unit, found = h * np.eye(count), np.zeros((count, count))
        middle = energy(np.zeros(count))
        ahead, behind = ([energy(sign * u) for u in unit] for sign in (1.0, -1.0))
        for i in range(count):
            self.progress("judging how it stays", i, count)
            found[i, i] = (ahead[i] + behind[i] - 2 * middle) / h**2
            for k in range(i):
                mixed = energy(unit[i] - unit[k]) - ahead[i] - behind[k] + middle
                found[i, k] = found[k, i] = -mixed / h**2
        return found

    def _kept(self, place: Arrangement, borne: Array) -> Arrangement:
        """The arrangement with loaded contacts closed again: pressed by what they bear."""
        size = float(np.linalg.norm(borne)) + 1e-9
        for _ in range(KEPT):
            limits = self.constraints.limits(place, 1e-3)
            bent = self.landscape.measure(place) * size / (0.2 * self.landscape.radius)
            found = minimise(
                bent, borne, limits.jacobian, -limits.gap, limits.equality, -limits.misfit
            )
            if found is None:
                break
            place = self.landscape.moved(place, found.d)
        return place

    def _said(self, s: Settled, direction: Array, touching: PairLimits) -> str:
        """The motion of the body that moves most, and its name."""
        each = direction.reshape(-1, 6)
        sizes = [
            float(d @ metric(b, one_of(s.place, k)) @ d)
            for k, (d, b) in enumerate(zip(each, self.landscape.bodies, strict=True))
        ]
        k = int(np.argmax(sizes))
        body = self.landscape.bodies[k]
        return f"{body.name} {said(each[k], one_of(s.place, k), touching, body)}"


def _push(limits: PairLimits, slope: Array) -> Array:
    """Forces (k,) of closed rows that bear most of a slope."""
    near = limits.gap < 2e-4
    push = np.zeros(len(limits.gap))
    if near.any():
        push[near] = nnls(limits.jacobian[near].T, slope)[0]
    return push


def _box(system: System, numbers: list[int]) -> tuple[Array, Array]:
    """The corners of a box that holds the search boxes of all bodies."""
    corners = [
        search_box(EnergyLandscape(system, i, COARSE))
        for i in numbers
        if system.bodies[i].is_soft or system.bodies[i].is_magnet
    ]
    return np.min([c[0] for c in corners], axis=0), np.max([c[1] for c in corners], axis=0)


def _other(axis: Array) -> Array:
    """A level axis across a level one."""
    return np.array([axis[1], axis[0], 0.0]) if abs(axis[2]) < 0.5 else np.array([1.0, 0, 0])


def _turning(own: Array, wanted: Array) -> Array:
    """The quaternion of the least turn from one unit vector to another."""
    axis = np.cross(own, wanted)
    size = float(np.linalg.norm(axis))
    if size < 1e-12:
        return rotations.IDENTITY
    return rotations.from_axis_angle(axis / size, float(np.arctan2(size, own @ wanted)))
