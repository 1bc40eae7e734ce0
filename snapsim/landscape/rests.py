"""Resting poses of one body: where it can stay near the magnets, and which way it leaves.

Stages: descents without friction from many starts on coarse cells (`starts`, `descent`), free rests
(`hovering`), and places that only friction holds (`creep`); copies merged (`symmetry`), and rests
between which the energy has no top higher than the cells' own error (`RIPPLE`): one valley has many
hollows on a mesh; each kind refined on the scene's own cells; stability, frequencies, holding and
pull-off force, friction. All other bodies stay where they are, and hands let go. Nothing proves
that no rest is missed: more starts find more. The search ends early where `ENOUGH` starts one after
another came to no rest that was new; interrupted, it goes on with the rests found until then.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from snapsim.arrays import Array
from snapsim.constants import MU_0
from snapsim.errors import InputError, label
from snapsim.landscape.constraints import Constraints, Limits
from snapsim.landscape.creep import CreepSettings, attractors, creep
from snapsim.landscape.descent import DescentSettings, Settled, settle
from snapsim.landscape.energy import EnergyLandscape
from snapsim.landscape.friction_hold import FrictionHold, friction_hold
from snapsim.landscape.hovering import balance, hovering
from snapsim.landscape.lie import Lie, lie
from snapsim.landscape.place import Place, moved
from snapsim.landscape.stability import Stability, stability
from snapsim.landscape.starts import search_box, starts
from snapsim.landscape.symmetry import (
    apart,
    idle_directions,
    image,
    shape_symmetries,
)
from snapsim.numerics import rotations
from snapsim.parts.shapes.symmetry import signed_axes
from snapsim.simulation.system import System
from snapsim.work.progress import Progress

COARSE_CELLS = 120
"""Cells of every soft part in the search."""

STARTS = 48
"""Spread starts by default; the symmetric ones come on top."""

SAME = 4e-3
"""Distance [m] by `symmetry.apart` up to which two rests count as one: coarse cells leave bumps of
about that width where a part slides on a pole."""

ALIKE = 2e-2
"""The same for energies, as a share of the larger magnetic one."""

RIPPLE = 1e-2
"""Top of the energy between two rests, as a share of the magnetic one, that is the cells' doing."""

VALLEY = 6.0
"""Most by which the rests of one valley may differ in energy, in such ripples: a part slides along
the rim of a pole within that."""

ENOUGH = 14
"""Starts in a row without a new rest after which no more are made."""

RETREAT = (0.0, 5e-5, 2e-4, 5e-4, 1e-3, 2e-3, 5e-3, 1e-2, 2e-2)
"""Gaps [m] at which the pull is looked at for its largest value."""

HeldBy = Literal["contact", "contact and joint", "joint", "friction", "field and weight"]


@dataclass(frozen=True)
class Rest:
    """One resting pose, on the scene's own cells.

    `place`; `energy` = `magnetic` + `gravity` [J]; `touches`: names of bodies touched; `holding`:
    normal force on each of them and tension of each string [N]; `pull_off` [N]: the largest pull
    straight away from the magnet that field and weight resist; nan off magnets and with joints;
    `polarisation` [T]: length of the volume mean; `stability`, None where only friction holds it;
    `friction`, None without contact; `lie`, how it lies; `copies`: how many places the scene's
    symmetry makes of it; `found`: how many starts came here; `balanced`: whether the loads balance
    to the tolerance."""

    place: Place
    energy: float
    magnetic: float
    gravity: float
    held_by: HeldBy
    touches: tuple[str, ...]
    holding: Mapping[str, float]
    pull_off: float
    polarisation: float
    stability: Stability | None
    friction: FrictionHold | None
    lie: Lie
    copies: int
    found: int
    balanced: bool

    @property
    def verdict(self) -> str:
        """ "stable", "saddle", "unstable", or "held by friction"."""
        return "held by friction" if self.stability is None else self.stability.verdict


@dataclass(frozen=True)
class Rests:
    """All rests found, lowest energy first. `starts` of them made, of `planned`; how many left the
    scene or were `unfinished`; `unseen`: the share of the starts that came to a rest as the only
    one, an estimate of the chance that one more start finds a new rest (Good, Biometrika 40, 237
    (1953), eq. 9; from memory); `cells` of the body in search and refinement; `seed`.
    `interrupted`: the user stopped the search, and what stands here was found until then."""

    system: System
    body: int
    rests: tuple[Rest, ...]
    starts: int
    planned: int
    unseen: float
    interrupted: bool
    away: int
    unfinished: int
    coarse_cells: int
    cells: int
    seed: int
    evaluations: int


@dataclass
class _Family:
    """Copies of one rest in the search: one of them, and how many starts came to any."""

    settled: Settled
    kind: Literal["contact", "free", "friction"]
    found: int = 1
    copies: int = 1


def body_number(system: System, name: str | None) -> int:
    """Return the number of the free body called `name`, or of the only one that a field moves.

    Raises InputError for an unknown or fixed body, for a choice that is not clear, and for a body
    that no other one attracts.
    """
    moving = [i for i, b in enumerate(system.bodies) if not b.fixed and (b.is_soft or b.is_magnet)]
    names = ", ".join(f'"{system.bodies[i].name}"' for i in moving) or "none"
    if name is None:
        if len(moving) != 1:
            problem = f"which body? Name one with --body; those that can move: {names}"
            raise InputError(problem, file=system.file or None, key="body")
        return _drawn(system, moving[0])
    number = system.number(name)
    if system.bodies[number].fixed:
        problem = f"is fixed, so it has no other pose; bodies that can move: {names}"
        raise InputError(problem, file=system.file or None, key=f"body.{label(name)}")
    return _drawn(system, number)


def _drawn(system: System, number: int) -> int:
    """The number itself, if a magnet and something that it draws are there."""
    body = system.bodies[number]
    others = [b for i, b in enumerate(system.bodies) if i != number]
    key = f"body.{label(body.name)}"
    if not (body.is_soft or body.is_magnet):
        problem = f'is of "{body.material.name}", which no magnet draws; take iron or a magnet'
        raise InputError(problem, file=system.file or None, key=key)
    drawn = any(b.is_magnet or (body.is_magnet and b.is_soft) for b in others)
    if not drawn:
        problem = "nothing in the scene draws it: there is no magnet beside it"
        raise InputError(problem, file=system.file or None, key=key)
    return number


def poses(
    system: System,
    body: str | None = None,
    count: int = STARTS,
    seed: int = 1,
    progress: Progress | None = None,
) -> Rests:
    """Return the resting poses of a body; raises InputError as `body_number` does."""
    number = body_number(system, body)
    return _Search(system, number, count, seed, progress or _silent).run()


def _silent(what: str, done: int, of_all: int) -> None:
    return


def descent_settings(landscape: EnergyLandscape, constraints: Constraints) -> DescentSettings:
    """Return step lengths fit for the sizes in the scene."""
    longest = step_length(landscape)
    low, high = search_box(landscape)
    far = float(np.linalg.norm(high - low)) + 1.0
    return DescentSettings(
        longest, far, idle=None if constraints.joints else idle_directions(landscape.body)
    )


def step_length(landscape: EnergyLandscape) -> float:
    """Return the longest safe step [m]: less than what bodies are thick."""
    thin = min(float(b.shape.extents.min()) for b in landscape.system.bodies)
    return float(np.clip(0.5 * thin, 1e-4, 0.2 * landscape.radius))


class _Search:
    def __init__(
        self, system: System, body: int, count: int, seed: int, progress: Progress
    ) -> None:
        self.system, self.body, self.count, self.seed = system, body, count, seed
        self.progress = progress
        self.coarse = EnergyLandscape(system, body, COARSE_CELLS)
        self.constraints = Constraints(system, body)
        self.settings = descent_settings(self.coarse, self.constraints)
        self.symmetries = shape_symmetries(system.bodies[body])
        self.operations = self._operations()
        self.families: list[_Family] = []
        self.away = self.unfinished = self.made = 0

    def run(self) -> Rests:
        """Search, merge, refine, judge."""
        first = starts(self.coarse, self.constraints, self.count, self.seed)
        fixed = len(first) - self.count
        made, interrupted = 0, False
        try:
            made = self._searched(first, fixed)
            for free in hovering(self.coarse, self.constraints):
                self._join(free, "free")
        except KeyboardInterrupt:
            made, interrupted = self.made, True
        fine = EnergyLandscape(self.system, self.body)
        rests = self._judged(fine)
        interrupted = interrupted or len(rests) < len(self.families)
        rests.sort(key=lambda r: r.energy)
        cells = [
            len(x.model.cells[self.body].volume) if self.body in x.model.cells else 0
            for x in (self.coarse, fine)
        ]
        once = sum(f.found == 1 for f in self.families if f.kind == "contact")
        return Rests(
            self.system, self.body, tuple(rests), made, len(first), once / max(made, 1),
            interrupted, self.away, self.unfinished, cells[0], cells[1], self.seed,
            self.coarse.evaluations + fine.evaluations,
        )  # fmt: skip

    def _judged(self, fine: EnergyLandscape) -> list[Rest]:
        """The rests of all families on fine cells, or those that were judged when interrupted."""
        rests: list[Rest] = []
        with suppress(KeyboardInterrupt):
            refined = self._refined(fine)
            for k, family in enumerate(refined):
                self.progress("judging rests", k, len(refined))
                rests.append(self._rest(fine, family))
        return rests

    def _searched(self, first: Sequence[Place], fixed: int) -> int:
        """Descend and creep from each start; return how many were made."""
        idle = 0
        for k, place in enumerate(first):
            self.progress(f"looking for rests: {len(self.families)} found", k, len(first))
            known = len(self.families)
            self._take(settle(self.coarse, self.constraints, place, self.settings))
            self._rub(place)
            self.made = k + 1
            idle = 0 if len(self.families) > known else idle + 1
            if k >= fixed and idle >= ENOUGH:
                break
        return self.made

    def _take(self, found: Settled) -> None:
        if found.outcome == "rest":
            self._join(found, "contact")
        elif found.outcome == "away":
            self.away += 1
        else:
            self.unfinished += 1

    def _rub(self, place: Place) -> None:
        """Keep where the body creeps to rest with friction, if no rest is like it."""
        settings = CreepSettings(self.settings.longest, self.settings.far, most=200)
        found = creep(self.coarse, self.constraints, place, settings)
        if found.fate != "stays" or found.parted:
            return
        touched = self.constraints.touched(found.place, 1e-6)
        if not touched or any(self._similar(f, found.place, touched) for f in self.families):
            return
        limits = self.constraints.limits(found.place, 1e-6)
        none = np.zeros(len(limits.gap))
        kept = Settled(found.place, found.level, limits, none, 0.0, found.steps, "rest")
        self.families.append(_Family(kept, "friction"))

    def _similar(self, family: _Family, place: Place, touched: frozenset[int]) -> bool:
        """True where a known rest touches the same bodies and lies the same way up."""
        other = family.settled.place
        if self.constraints.touched(other, 1e-6) != touched:
            return False
        at_origin = Place(np.zeros(3), place.quaternion)
        turned = Place(np.zeros(3), other.quaternion)
        up = np.array([0.0, 0.0, 1.0])
        tilts = [
            np.sort(np.abs(rotations.rotate_back(p.quaternion, up))) for p in (at_origin, turned)
        ]
        return bool(np.linalg.norm(tilts[0] - tilts[1]) < 0.1)

    # -- copies ----------------------------------------------------------------------------------

    def _operations(self) -> list[tuple[Array, Array]]:
        """Rotations and reflections (3, 3) that may be the scene's, each with its centre (3,)."""
        pose = self.system.start.pose
        drawing = sorted(attractors(self.coarse))
        centre = np.mean([pose.position[i] for i in drawing], axis=0)
        frame = rotations.matrix(pose.quaternion[drawing[0]])
        return [(frame @ s @ frame.T, centre) for s in signed_axes()]

    def _images(self, settled: Settled) -> list[Place]:
        """The places that the scene's symmetry takes a rest to, each once, itself first."""
        found = [settled.place]
        gaps = self.constraints.gaps(settled.place)
        energy = self.coarse.at(settled.place).energy
        scale = abs(settled.level.magnetic) + abs(settled.level.gravity)
        for operation, centre in self.operations:
            place = image(settled.place, operation, centre, self.symmetries)
            if place is None or any(self._near(place, f, 1e-3) for f in found):
                continue
            if self.constraints.joints:
                continue
            if not np.allclose(self.constraints.gaps(place), gaps, atol=1e-6):
                continue
            if abs(self.coarse.at(place).energy - energy) < 1e-4 * scale:
                found.append(place)
        return found

    def _near(self, one: Place, other: Place, within: float) -> bool:
        return apart(self.coarse.body, one, other, self.symmetries) < within

    def _join(self, found: Settled, kind: Literal["contact", "free"]) -> None:
        """Count a rest with its copies, or open a new family."""
        for family in self.families:
            if self._copies(family, found):
                family.found += 1
                return
        self.families.append(_Family(found, kind))

    def _copies(self, family: _Family, found: Settled) -> bool:
        level, other = family.settled.level, found.level
        scale = max(abs(level.magnetic), abs(other.magnetic)) + 1e-9
        if abs(level.energy - other.energy) > ALIKE * scale:
            return False
        return any(
            place is not None and self._near(place, found.place, SAME)
            for place in (
                image(family.settled.place, s, c, self.symmetries) for s, c in self.operations
            )
        )

    # -- refinement ------------------------------------------------------------------------------

    def _refined(self, fine: EnergyLandscape) -> list[_Family]:
        """The families on the scene's own cells, merged once more."""
        coarse, self.families = self.families, []
        for k, family in enumerate(coarse):
            self.progress("refining", k, len(coarse))
            settled = self._settled(fine, family)
            if settled is None:
                self.unfinished += family.found
                continue
            same = [f for f in self.families if f.kind == family.kind and self._copies(f, settled)]
            if same and family.kind != "friction":
                same[0].found += family.found
                continue
            family.settled = settled
            if family.kind == "contact" and self._in_known_valley(fine, family):
                continue
            self.families.append(family)
        for family in self.families:
            family.copies = 1 if family.kind == "friction" else len(self._images(family.settled))
        return self.families

    def _in_known_valley(self, fine: EnergyLandscape, family: _Family) -> bool:
        """Whether only the cells' ripple parts a rest from one known, or from a copy of it; the
        lower of the two is kept."""
        for known in self.families:
            if known.kind != "contact" or not self._one_valley(fine, known.settled, family.settled):
                continue
            known.found += family.found
            if family.settled.level.energy < known.settled.level.energy:
                known.settled = family.settled
            return True
        return False

    def _one_valley(self, fine: EnergyLandscape, one: Settled, other: Settled) -> bool:
        """Whether the straight way between two rests, kept on what they touch, has no top over
        `RIPPLE` of the magnetic energy above the higher of them."""
        scale = RIPPLE * max(abs(one.level.magnetic), abs(other.level.magnetic))
        apart_in_energy = abs(one.level.energy - other.level.energy)
        touched = self.constraints.touched(one.place, 1e-6)
        if apart_in_energy > VALLEY * scale or touched != self.constraints.touched(
            other.place, 1e-6
        ):
            return False
        near = min(
            self._images(one),
            key=lambda p: apart(fine.body, p, other.place, self.symmetries),
        )
        reach = float(np.linalg.norm(fine.body.shape.extents))
        if apart(fine.body, near, other.place, self.symmetries) > 0.5 * reach:
            return False
        top = max(one.level.energy, other.level.energy) + scale
        for share in (0.25, 0.5, 0.75):
            way = near.position + share * (other.place.position - near.position)
            place = self.constraints.restored(Place(way, other.place.quaternion), 0.1 * reach)
            if place is None or fine.at(place).energy > top:
                return False
        return True

    def _settled(self, fine: EnergyLandscape, family: _Family) -> Settled | None:
        place = family.settled.place
        if family.kind == "free":
            return balance(fine, self.constraints, place)
        if family.kind == "friction":
            return replace(family.settled, level=fine.at(place))
        near = replace(self.settings, longest=0.5 * self.settings.longest, most=0)
        found = settle(fine, self.constraints, place, near)
        return found if found.outcome == "rest" else None

    def _rest(self, fine: EnergyLandscape, family: _Family) -> Rest:
        """Everything that is said of one rest."""
        s, frictional = family.settled, family.kind == "friction"
        touched = self.constraints.touched(s.place, 1e-6)
        judged = None if frictional else stability(fine, self.constraints, s)
        push = _pushes(fine, s, self.constraints) if frictional else s.multiplier
        return Rest(
            place=s.place,
            energy=s.level.energy,
            magnetic=s.level.magnetic,
            gravity=s.level.gravity,
            held_by=_held_by(frictional, s.limits, push, bool(self.constraints.joints)),
            touches=tuple(self.system.bodies[i].name for i in sorted(touched)),
            holding=self._holding(s.limits, push),
            pull_off=self._pull_off(fine, s, push),
            polarisation=_polarisation(fine, s.place),
            stability=judged,
            friction=friction_hold(self.coarse, self.constraints, s.place, s.limits, push),
            lie=lie(self.system, self.body, self.constraints.pose(s.place)),
            copies=family.copies,
            found=family.found,
            balanced=s.outcome == "rest",
        )

    def _holding(self, limits: Limits, push: Array) -> dict[str, float]:
        found: dict[str, float] = {}
        count = len(limits.other)
        for i, p in zip(limits.other.tolist(), push[:count].tolist(), strict=True):
            name = self.system.bodies[i].name
            found[name] = found.get(name, 0.0) + p
        for j, p in zip(limits.joint.tolist(), push[count:].tolist(), strict=True):
            name = self.system.joints[j].name
            found[name] = found.get(name, 0.0) + p
        return {name: p for name, p in found.items() if p > 0}

    def _pull_off(self, fine: EnergyLandscape, settled: Settled, push: Array) -> float:
        """The largest pull [N] that field and weight resist on the way straight off."""
        count = len(settled.limits.other)
        drawing = np.isin(settled.limits.other, list(attractors(fine)))
        if not np.any(drawing) or self.constraints.joints:
            return float("nan")
        normal = (push[:count] * drawing) @ settled.limits.normal
        size = float(np.linalg.norm(normal))
        if size < 1e-9:
            return float("nan")
        way = np.concatenate([normal / size, np.zeros(3)])
        return max(float(fine.at(moved(settled.place, r * way)).slope @ way) for r in RETREAT)


def _pushes(landscape: EnergyLandscape, settled: Settled, constraints: Constraints) -> Array:
    """Normal forces (k,) [N] at a place that friction holds: least squares, none pulling."""
    from scipy.optimize import nnls

    if not len(settled.limits.gap):
        return np.zeros(0)
    found: Array = nnls(settled.limits.jacobian.T, settled.level.slope)[0]
    return found


def _held_by(frictional: bool, limits: Limits, push: Array, jointed: bool) -> HeldBy:
    if frictional:
        return "friction"
    count = len(limits.other)
    touching = bool(np.any(push[:count] > 0))
    tied = bool(np.any(push[count:] > 0)) or (jointed and len(limits.misfit) > 0)
    if touching:
        return "contact and joint" if tied else "contact"
    return "joint" if tied else "field and weight"


def _polarisation(landscape: EnergyLandscape, place: Place) -> float:
    """Length of the body's mean polarisation [T]."""
    body, model = landscape.body, landscape.model
    if body.is_magnet:
        return MU_0 * float(np.linalg.norm(body.magnetisation))
    m = landscape.state(place).magnetisation[model.soft.index(landscape.number)]
    volume = model.cells[landscape.number].volume
    return MU_0 * float(np.linalg.norm(volume @ m)) / float(volume.sum())
