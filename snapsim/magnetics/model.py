"""Magnetic energy, force and torque of a set of bodies in any pose.

    E(pose) = min over M of E_soft(M; pose) + sum over pairs of magnets E_ij(pose)

E_soft is the convex energy of all soft cells in the field of the magnets (`magnetization`), E_ij
that of two magnets (`face_force` when close, `magnet_pair` when far). Force and torque are the
gradient of this same E (`force`, `mutual`, `magnet_pair`; of magnets close together to the error of
their rule, `face_force`), and each is counted with its exact opposite on the
other body, so the total force and the total angular momentum vanish to rounding.

Assumptions: magnets are rigidly and uniformly magnetised (recoil permeability 1, no
demagnetisation), soft parts have no hysteresis and no eddy currents; bodies do not overlap. Valid
down to contact, where the cells' size is what limits a soft part's accuracy.

With `recoil`, a magnet of recoil permeability mu_rec carries M = M_0 + (mu_rec - 1) H, H the whole
field in it, its own included: its second term is one more soft body, linear, in the same place. Its
energy then counts from the magnet without it. Straight, isotropic recoil lines (IEC 60404-1 calls
the slope the recoil permeability; from memory), so no knee of the demagnetisation curve.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from copy import copy
from dataclasses import dataclass, field, replace

import numpy as np

from snapsim.arrays import Array, ArrayLike, BoolArray, IntArray, as_floats
from snapsim.constants import MU_0
from snapsim.magnetics import magnet_pair
from snapsim.magnetics.anhysteretic import CurveSet, compiled_curves
from snapsim.magnetics.cells import mesh as cells_of
from snapsim.magnetics.cells.contract import CellMesh
from snapsim.magnetics.cells.reflection import flips
from snapsim.magnetics.charged_faces import charge, charged_faces
from snapsim.magnetics.charged_surface import Surface, surface_of
from snapsim.magnetics.continuous_normal import LEAST_STIFFNESS, serves
from snapsim.magnetics.face_force import load_between
from snapsim.magnetics.flux_part import FluxPart, flux_part
from snapsim.magnetics.flux_product import CrossSet, flux_set
from snapsim.magnetics.force import add_both, field_on_cells, forces_on_cells
from snapsim.magnetics.joint_fluxes import CrossLayer, FluxState, JointProblem, cross_layers, least
from snapsim.magnetics.magnetization import (
    RELAXED,
    Coupling,
    Minimum,
    Problem,
    minimise_from,
    uncoupled,
)
from snapsim.magnetics.mutual import FaceSet, Interaction, face_set, interaction, wrench
from snapsim.magnetics.operator_cache import (
    SortedBlocks,
    kept_blocks,
    kept_continuous,
    kept_fluxes,
    kept_operator,
)
from snapsim.magnetics.sources import MagnetSet, magnet_set, source_of
from snapsim.magnetics.symmetric_blocks import buffer, layout
from snapsim.magnetics.warm_start import DEPTH, Solution, extrapolated, mixture
from snapsim.magnetics.widened_part import FieldOnPart, WidenedPart, widened_part
from snapsim.numerics.rotation_kernels import matrices
from snapsim.parts.bodies import Body
from snapsim.parts.materials import MagnetisationCurve
from snapsim.parts.states import Pose

PRODUCTS_LIMIT = 2000
"""Products with a stored operator after which a pose is given up as not converged."""

NEAR_COILS = 24
"""Order of the rule of a magnet that coils act on, however near."""

_ALONE = uncoupled()


@dataclass(frozen=True)
class MagneticState:
    """What the magnets and soft parts do in one pose of n bodies.

    `energy` [J]; `force` (n, 3) [N] and `torque` (n, 3) [N m] about each centre of mass, world
    axes; `magnetisation` (c, 3) [A/m] in body axes of each soft body, in the order of
    `MagneticModel.soft`; `bound` [J] on how far the energy lies above its minimum; `products`
    with a stored operator that it took; `converged`, whether the tolerance was met. `solutions`,
    this one and some earlier ones, let the next pose start from here; `fluxes` is what several
    parts without charges on inner faces came to.
    """

    energy: float
    force: Array
    torque: Array
    magnetisation: tuple[Array, ...]
    bound: float
    products: int
    converged: bool
    solutions: tuple[Solution, ...] = field(default=(), repr=False)
    fluxes: FluxState | None = field(default=None, repr=False)


@dataclass(frozen=True)
class MagneticSeries:
    """Many poses of n bodies, a row a pose: `energy` (k,) [J], `force` (k, n, 3) [N], `torque`
    (k, n, 3) [N m], `bound` (k,) [J], `products` (k,), `converged` (k,), as in `MagneticState`;
    `last` is the state of the last pose, to go on from (None for no poses)."""

    energy: Array
    force: Array
    torque: Array
    bound: Array
    products: IntArray
    converged: BoolArray
    last: MagneticState | None = field(default=None, repr=False)


@dataclass(frozen=True)
class _SoftPart:
    """A magnetisable body's cells, flat: `points` (c q, 3) [m] body axes; `cells` its slice of all,
    and `places` that of what the field is averaged on, these or points of cells;
    `own` (c, 3) [A/m] the mean field, body axes, of what is magnetised in it for good (`fixed`).
    Where it is `widened`, the field acts on each of its points as on a cell."""

    body: int
    weights: Array
    volume: Array
    points: Array
    cells: slice
    own: Array
    fixed: Array
    places: slice
    widened: WidenedPart | None = None


@dataclass(frozen=True)
class _Magnet:
    """A magnet: its body, its field, its M (3,) [A/m] body axes, points and weights inside it, its
    surface, and the radius [m] of a ball about its centre that holds it. A coil's M is that whose
    field it has, the weights its share of it (`magnet_pair.coil_quadrature`)."""

    body: int
    source: MagnetSet
    magnetisation: Array
    points: Array
    weights: Array
    surface: Surface
    reach: float
    is_coil: bool


@dataclass(frozen=True)
class _Faces:
    """Faces of all soft parts, where there are several: packed for `mutual`, and those of part k
    from `first[k]` to `first[k + 1]` in `cell` (f, 2), counted over all parts, `outward` and
    `gather` (`distant_charges`)."""

    packed: list[FaceSet]
    gather: Array
    first: IntArray
    cell: IntArray
    outward: Array


@dataclass(frozen=True)
class _Sample:
    """Field of the k magnets on one soft part in one pose, world axes.

    `points` (c q, 3); the cell means `means` (k, c, 3) and the `gradients` (k, c q, 3, 3), not set
    for a magnet that is the part itself. `field` is set for a widened part.
    """

    points: Array
    means: Array
    gradients: Array
    field: FieldOnPart | None = None


class _Balance:
    """Force (n, 3) and torque (n, 3) being added up, each with its opposite."""

    def __init__(self, position: Array) -> None:
        self.position = position
        self.force = np.zeros_like(position)
        self.torque = np.zeros_like(position)

    def add(self, on: int, acting: Array, source: int) -> None:
        """Add the wrench `acting` (6,) on body `on` about its centre; the opposite on `source`."""
        add_both(self.position, on, source, acting, self.force, self.torque)

    def share(self, found: Array, one: int, other: int) -> None:
        """Add what stands here to `found` (n, n, 6) as that of two bodies on each other."""
        found[one, other] += np.concatenate([self.force[one], self.torque[one]])
        if one != other:
            found[other, one] += np.concatenate([self.force[other], self.torque[other]])


def _cross(a: Array, b: Array) -> Array:
    """Vector product of two (3,); numpy's own takes ten times as long for so few numbers."""
    ax, ay, az = a.tolist()
    bx, by, bz = b.tolist()
    return np.array([ay * bz - az * by, az * bx - ax * bz, ax * by - ay * bx])


class MagneticModel:
    """Bodies made ready for magnetics; `evaluate` is a pure function of its arguments.

    `soft` and `magnets` are the numbers of the bodies that are one or the other, `cells` the mesh
    of each soft body. `detail` sets the number of cells (`cells.DETAIL`, or a number), `tolerance`
    the bound on the energy's error as a fraction of the soft parts' energy. `background` (3,) is a
    uniform field [A/m], world axes, that acts on everything. `meshes` gives the cells of some soft
    bodies, by number, in place of `detail`. `recoil` lets magnets yield by their recoil
    permeability (module text): `recoiling` are their numbers, they have cells, and come after the
    soft ones in `MagneticState.magnetisation`, their whole M. Raises ValueError for a curve that is
    not allowed and InputError for a shape without cells.
    """

    def __init__(
        self,
        bodies: Sequence[Body],
        detail: str | int = "normal",
        tolerance: float = 1e-5,
        background: ArrayLike = (0.0, 0.0, 0.0),
        meshes: Mapping[int, CellMesh] | None = None,
        recoil: bool = False,
    ) -> None:
        self.count = len(bodies)
        self.tolerance = tolerance
        self.background = as_floats(background)
        self.soft = tuple(i for i, body in enumerate(bodies) if body.is_soft)
        self.magnets = tuple(i for i, body in enumerate(bodies) if body.is_magnet)
        given = meshes or {}
        self.recoiling = tuple(
            i for i in self.magnets if recoil and bodies[i].recoil_susceptibility > 0
        )
        yielding = (*self.soft, *self.recoiling)
        self.cells = {i: given.get(i) or cells_of(bodies[i].shape, detail) for i in yielding}
        coils = any(bodies[i].coil is not None for i in self.magnets)
        order = NEAR_COILS if coils else magnet_pair.DEFAULT_ORDER
        self._magnets = [_magnet(i, bodies[i], order) for i in self.magnets]
        self._magnet_bodies = np.array(self.magnets, dtype=np.int64)
        self._set = magnet_set(
            [source_of(bodies[i]) for i in self.magnets],
            [bodies[i].magnetisation for i in self.magnets],
        )
        curves = compiled_curves([_curve(bodies[i]) for i in yielding])
        self._curves = curves
        self._fluxes: tuple[FluxPart, ...] = ()
        continuous = serves(self.cells.values(), bool(self.recoiling))
        if continuous and len(yielding) > 1:
            self._fluxes = _flux_parts(self.cells.values(), curves.susceptibility.tolist())
            self._flux_set = flux_set(self._fluxes)
            self._parts, self._faces = _flux_places(self.cells, self._fluxes), None
            return
        if continuous:
            stiffness = max(1 / float(curves.susceptibility[0]), LEAST_STIFFNESS)
            self._parts, blocks = _widened_parts(self.cells, stiffness)
        else:
            self._parts = _soft_parts([bodies[i] for i in yielding], self.cells)
            blocks = [kept_blocks(mesh) for mesh in self.cells.values()]
        self._faces = _faces(self._parts, self.cells) if len(self._parts) > 1 else None
        self._problem = _problem(curves, self.cells, blocks)

    def with_currents(self, bodies: Sequence[Body]) -> MagneticModel:
        """Return the model of the same bodies with other currents; cells and operators are
        shared."""
        model = copy(self)
        m = [bodies[i].magnetisation for i in self.magnets]
        model._set = replace(self._set, magnetisations=as_floats(m).reshape(-1, 3))
        model._magnets = [
            replace(old, magnetisation=new, source=replace(old.source, magnetisations=new[None]))
            for old, new in zip(self._magnets, m, strict=True)
        ]
        return model

    def evaluate(
        self,
        pose: Pose,
        start: MagneticState | None = None,
    ) -> MagneticState:
        """Return the magnetic state in `pose`.

        Starts from the state `start` and those that it came from (`warm_start`); the start changes
        the cost, and the result only within the tolerance.
        """
        position, quaternion = as_floats(pose.position), as_floats(pose.quaternion)
        if self._silent:
            return self._nothing(position)
        turns = matrices(quaternion)
        if self._fluxes:
            return self._evaluate_together(position, quaternion, turns, start)
        samples, load = self._samples(position, quaternion, turns)
        coupling, interactions = self._couple(position, turns)
        minimum = self._solve(coupling, load, start)
        balance = _Balance(position)
        for k, (part, sample) in enumerate(zip(self._parts, samples, strict=True)):
            acted_on = self._acted_on(k, sample, minimum.m[part.cells], None)
            self._act_on_part(part, sample, acted_on, balance, turns)
        for (a, b), acting in self._acting(coupling, interactions, minimum.m).items():
            self._act_both(a, b, acting, turns, balance)
        energy = minimum.energy + sum(s.field.energy for s in samples if s.field is not None)
        energy = MU_0 * energy + self._act_on_magnets(position, quaternion, turns, balance)
        return MagneticState(
            energy=energy,
            force=balance.force,
            torque=balance.torque,
            magnetisation=tuple(part.fixed + minimum.m[part.cells] for part in self._parts),
            bound=MU_0 * minimum.bound,
            products=minimum.products,
            converged=minimum.converged,
            solutions=(
                Solution(load, minimum.h, minimum.m),
                *(() if start is None else start.solutions[:DEPTH]),
            ),
        )

    @property
    def _silent(self) -> bool:
        """Whether nothing has a field: coils without a current, no magnet, no background."""
        return not (self._set.magnetisations.any() or self.background.any())

    def _nothing(self, position: Array) -> MagneticState:
        """The state without any field."""
        none = np.zeros_like(position)
        m = tuple(np.zeros((len(self.cells[part.body].volume), 3)) for part in self._parts)
        return MagneticState(0.0, none, none.copy(), m, 0.0, 0, True)

    def _evaluate_together(
        self, position: Array, quaternion: Array, turns: Array, start: MagneticState | None
    ) -> MagneticState:
        """`evaluate` of several parts without charges on inner faces."""
        samples, at_points = self._samples(position, quaternion, turns)
        loaded = [
            flux.loaded(at_points[part.places])
            for part, flux in zip(self._parts, self._fluxes, strict=True)
        ]
        load = np.concatenate([one[0] for one in loaded])
        spread = np.concatenate([one[1].ravel() for one in loaded])
        layers, *cross = self._layers(position, turns)
        problem = JointProblem(
            self._fluxes, self._flux_set, self._curves, (cross[0], cross[1]), load, spread
        )
        known = () if start is None else start.solutions
        found = least(
            problem,
            self._fluxes_from(load, known, problem.size),
            self.tolerance,
            PRODUCTS_LIMIT,
            None if start is None or start.fluxes is None else start.fluxes.inverse,
        )
        balance = _Balance(position)
        for k, (part, sample) in enumerate(zip(self._parts, samples, strict=True)):
            self._act_on_part(
                part, sample, self._acted_on(k, sample, found.m[k], found), balance, turns
            )
        for (a, b), layer in layers.items():
            acting = layer.wrench(found, a, b)
            self._act_both(a, b, acting, turns, balance)
        energy = MU_0 * found.energy + self._act_on_magnets(position, quaternion, turns, balance)
        q = np.concatenate(found.q)[:, None]
        return MagneticState(
            energy=energy,
            force=balance.force,
            torque=balance.torque,
            magnetisation=found.m,
            bound=MU_0 * found.bound,
            products=found.products,
            converged=found.converged,
            solutions=(Solution(load, q, np.empty((0, 3))), *known[:DEPTH]),
            fluxes=found,
        )

    def _fluxes_from(self, load: Array, known: tuple[Solution, ...], size: int) -> Array:
        """Return fluxes (n,) to start from."""
        if not known or any(len(one.h) != size or one.load.shape != load.shape for one in known):
            return np.zeros(size)
        volume = np.concatenate([flux.volume for flux in self._fluxes])
        weights = mixture(load, volume, known, self.tolerance)
        return weights @ np.stack([one.h[:, 0] for one in known])

    def _acted_on(self, k: int, sample: _Sample, m: Array, fluxes: FluxState | None) -> Array:
        """Return what the field acts on in part k of magnetisation m (c, 3): at each of the part's
        points where its flux has a continuous normal component."""
        part = self._parts[k]
        if fluxes is not None:
            return self._fluxes[k].magnetised(m, fluxes.widening[k])
        if part.widened is not None and sample.field is not None:
            return part.widened.magnetised(m, sample.field)
        return m

    def _act_on_part(
        self, part: _SoftPart, sample: _Sample, m: Array, balance: _Balance, turns: Array
    ) -> None:
        """Add the forces between magnets and one soft part; `m` what they act on."""
        forces_on_cells(
            self._magnet_bodies, balance.position, turns, part.body, part.weights, part.volume,
            self.background, sample.points, sample.means, sample.gradients, m,
            balance.force, balance.torque,
        )  # fmt: skip

    def _act_both(self, a: int, b: int, acting: Array, turns: Array, balance: _Balance) -> None:
        """Add the wrench (6,) on soft part a from b, in a's axes, and its opposite."""
        on, source = self._parts[a].body, self._parts[b].body
        balance.add(on, np.concatenate([turns[on] @ acting[:3], turns[on] @ acting[3:]]), source)

    def _layers(
        self, position: Array, turns: Array
    ) -> tuple[dict[tuple[int, int], CrossLayer], CrossSet, CrossSet]:
        """P between each two parts, in the axes of the first."""
        places = {}
        for b, second in enumerate(self._parts):
            for a, first in enumerate(self._parts[:b]):
                i, j = first.body, second.body
                back = turns[i].T
                places[a, b] = back @ turns[j], back @ (position[j] - position[i])
        return cross_layers(self._fluxes, places)

    def evaluate_many(
        self, poses: Iterable[Pose], start: MagneticState | None = None
    ) -> MagneticSeries:
        """Return energy, force and torque in all `poses`, each solve starting from those before.

        Poses in the order of a path cost least; any order gives the same within the tolerance.
        """
        states: list[MagneticState] = []
        for pose in poses:
            start = self.evaluate(pose, start)
            states.append(replace(start, magnetisation=(), solutions=(), fluxes=None))
        shape = (len(states), self.count, 3)
        return MagneticSeries(
            energy=np.array([s.energy for s in states], dtype=np.float64),
            force=np.array([s.force for s in states], dtype=np.float64).reshape(shape),
            torque=np.array([s.torque for s in states], dtype=np.float64).reshape(shape),
            bound=np.array([s.bound for s in states], dtype=np.float64),
            products=np.array([s.products for s in states], dtype=np.int64),
            converged=np.array([s.converged for s in states], dtype=np.bool_),
            last=start,
        )

    def pulls_between(self, pose: Pose, state: MagneticState) -> dict[tuple[int, int], Array]:
        """Return the force (3,) [N] on the first of each pair of soft bodies from the second's
        charges, world axes, in the state found in that pose; bodies by number."""
        if self._silent:
            return {}
        turns = matrices(as_floats(pose.quaternion))
        m = self._moving(state)
        found = self._wrenches(as_floats(pose.position), turns, m, self._fluxes_of(pose, state))
        numbers = [part.body for part in self._parts]
        return {
            (numbers[a], numbers[b]): turns[numbers[a]] @ acting[:3]
            for (a, b), acting in found.items()
        }

    def loads_between(self, pose: Pose, state: MagneticState) -> Array:
        """Return what bodies do to each other in the state found in a pose, (n, n, 6) [N, N m]: row
        i, column j the wrench on body i about its centre from body j, world axes.

        Columns add up to the force and torque on a body; on the diagonal is what a background does.
        """
        if self._silent:
            return np.zeros((self.count, self.count, 6))
        position, quaternion = as_floats(pose.position), as_floats(pose.quaternion)
        turns = matrices(quaternion)
        samples = self._samples(position, quaternion, turns)[0]
        m, fluxes = self._moving(state), self._fluxes_of(pose, state)
        found = np.zeros((self.count, self.count, 6))
        for k, (part, sample) in enumerate(zip(self._parts, samples, strict=True)):
            acted_on = self._acted_on(k, sample, m[part.cells], fluxes)
            for source in {*self._magnet_bodies.tolist(), part.body}:
                kept = (self._magnet_bodies == source) & (self._magnet_bodies != part.body)
                background = self.background * (source == part.body)
                balance = _Balance(position)
                forces_on_cells(
                    self._magnet_bodies, position, turns, part.body, part.weights, part.volume,
                    background, sample.points, sample.means * kept[:, None, None],
                    sample.gradients * kept[:, None, None, None], acted_on,
                    balance.force, balance.torque,
                )  # fmt: skip
                balance.share(found, part.body, source)
        for (a, b), acting in self._wrenches(position, turns, m, fluxes).items():
            balance = _Balance(position)
            self._act_both(a, b, acting, turns, balance)
            balance.share(found, self._parts[a].body, self._parts[b].body)
        for k, first in enumerate(self._magnets):
            for second in self._magnets[k + 1 :]:
                balance = _Balance(position)
                _act_on_pair(first, second, position, quaternion, turns, balance)
                balance.share(found, first.body, second.body)
            moment = first.weights.sum() * turns[first.body] @ first.magnetisation
            found[first.body, first.body, 3:] += MU_0 * _cross(moment, self.background)
        return found

    def _samples(
        self, position: Array, quaternion: Array, turns: Array
    ) -> tuple[list[_Sample], Array]:
        """Return the field on each part and v h: in cells, or (`_fluxes`) at the points of all."""
        rows = self._parts[-1].places.stop if self._fluxes else len(self._problem.volume)
        load = np.empty((rows, 3))
        return [self._sample(part, position, quaternion, turns, load) for part in self._parts], load

    def _sample(
        self, part: _SoftPart, position: Array, quaternion: Array, turns: Array, load: Array
    ) -> _Sample:
        """Return the field on a part and set its share of `load` v h (c, 3) [A m^2], body axes."""
        count, cells, points = len(self.magnets), len(part.volume), len(part.points)
        sample = _Sample(
            np.empty((points, 3)), np.empty((count, cells, 3)), np.empty((count, points, 3, 3))
        )
        own = load[part.places] if part.widened is None else np.empty((cells, 3))
        field_on_cells(
            self._set.codes, self._set.starts, self._set.parameters, self._set.magnetisations,
            self._magnet_bodies, position, quaternion, turns, part.body,
            part.weights, part.volume, part.points, self.background, part.own,
            sample.points, sample.means, sample.gradients, own,
        )  # fmt: skip
        if part.widened is None:
            return sample
        field = part.widened.loaded(own)
        load[part.cells] = field.load
        return replace(sample, field=field)

    def _couple(self, position: Array, turns: Array) -> tuple[Coupling, list[Interaction]]:
        """Return the cross blocks and the interactions, each in the axes of its first part."""
        if self._faces is None:
            return _ALONE, []
        pairs = [(a, b) for b in range(len(self._parts)) for a in range(b)]
        found = []
        for a, b in pairs:
            i, j = self._parts[a].body, self._parts[b].body
            found.append(
                interaction(
                    self._faces.packed[a],
                    self._faces.packed[b],
                    turns[i].T @ turns[j],
                    turns[i].T @ (position[j] - position[i]),
                )
            )
        rows, blocks = [], [np.empty(0)]
        for (a, b), one in zip(pairs, found, strict=True):
            for far, block in one.blocks:
                rows.append((a, b, int(far)))
                blocks.append(block.ravel())
        flat = blocks[1] if len(rows) == 1 else np.concatenate(blocks)
        start = np.cumsum([block.size for block in blocks])
        return Coupling(
            np.array(rows, dtype=np.int64), start, flat,
            self._faces.gather, self._faces.first, self._faces.cell, self._faces.outward,
        ), found  # fmt: skip

    def _solve(self, coupling: Coupling, load: Array, start: MagneticState | None) -> Minimum:
        h, m = self._start(load, start)
        return Minimum(
            *minimise_from(self._problem, coupling, load, h, m, self.tolerance, PRODUCTS_LIMIT)
        )

    def _start(self, load: Array, start: MagneticState | None) -> tuple[Array, Array]:
        """Return local field and magnetisation (c, 3) to start from."""
        known = () if start is None else start.solutions
        if not known or any(one.shape != load.shape for one in known[0]):
            return np.zeros_like(load), np.zeros_like(load)
        return extrapolated(load, self._problem.volume, known, self.tolerance)

    def _wrenches(
        self, position: Array, turns: Array, m: Array, fluxes: FluxState | None
    ) -> dict[tuple[int, int], Array]:
        """Return the wrench (6,) of each two soft parts, by place, on the first, its axes."""
        if fluxes is not None:
            layers = self._layers(position, turns)[0].items()
            return {(a, b): one.wrench(fluxes, a, b) for (a, b), one in layers}
        return self._acting(*self._couple(position, turns), m)

    def _acting(
        self, coupling: Coupling, found: list[Interaction], m: Array
    ) -> dict[tuple[int, int], Array]:
        """The same from cross blocks and interactions."""
        if not found:
            return {}
        sigma, first = np.empty(len(coupling.cell)), coupling.face
        charge(coupling.cell, coupling.outward, m, sigma)
        pairs = [(a, b) for b in range(len(self._parts)) for a in range(b)]
        return {
            (a, b): wrench(one, sigma[first[a] : first[a + 1]], sigma[first[b] : first[b + 1]])
            for (a, b), one in zip(pairs, found, strict=True)
        }

    def _moving(self, state: MagneticState) -> Array:
        """M (c, 3) of all cells but what is magnetised for good."""
        fixed = zip(state.magnetisation, self._parts, strict=True)
        return np.concatenate([np.zeros((0, 3)), *(m - part.fixed for m, part in fixed)])

    def _fluxes_of(self, pose: Pose, state: MagneticState) -> FluxState | None:
        if self._fluxes and state.fluxes is None:
            return self.evaluate(pose, state).fluxes
        return state.fluxes

    def _act_on_magnets(
        self, position: Array, quaternion: Array, turns: Array, balance: _Balance
    ) -> float:
        """Add the forces on magnets from magnets and background; return their energy [J]."""
        energy = 0.0
        for k, first in enumerate(self._magnets):
            moment = first.weights.sum() * turns[first.body] @ first.magnetisation
            balance.torque[first.body] += MU_0 * _cross(moment, self.background)
            energy -= MU_0 * float(moment @ self.background)
            for second in self._magnets[k + 1 :]:
                energy += _act_on_pair(first, second, position, quaternion, turns, balance)
        return energy


def mean_polarisation(magnetisation: Array, cells: CellMesh) -> Array:
    """Return the volume mean (3,) [T] of mu_0 M, M (c, 3) [A/m], in the same axes."""
    mean: Array = MU_0 * (cells.volume @ magnetisation) / cells.volume.sum()
    return mean


def peak_polarisation(magnetisation: Array) -> float:
    """Return the largest |mu_0 M| [T] of all cells, M (c, 3) [A/m]."""
    return MU_0 * float(np.sqrt(np.max(np.sum(magnetisation**2, axis=1), initial=0.0)))


def _magnet(number: int, body: Body, order: int) -> _Magnet:
    winding = body.winding
    if winding is None:
        points, weights = magnet_pair.quadrature(body.shape, order)
    else:
        points, weights = magnet_pair.coil_quadrature(winding)
    source = magnet_set([source_of(body)], [body.magnetisation])
    surface, reach = surface_of(body.shape), float(np.linalg.norm(body.shape.extents))
    m, is_coil = body.magnetisation, winding is not None
    return _Magnet(number, source, m, points, weights, surface, reach, is_coil)


def _curve(body: Body) -> MagnetisationCurve:
    if body.is_magnet or body.material.curve is None:
        return MagnetisationCurve(body.recoil_susceptibility)
    return body.material.curve


def _soft_parts(bodies: Sequence[Body], cells: dict[int, CellMesh]) -> list[_SoftPart]:
    parts: list[_SoftPart] = []
    first = 0
    for body, (i, mesh) in zip(bodies, cells.items(), strict=True):
        here = slice(first, first + len(mesh.volume))
        fixed = np.tile(body.magnetisation, (len(mesh.volume), 1))
        own = -kept_operator(mesh).apply(fixed) if body.is_magnet else np.zeros_like(fixed)
        points = as_floats(mesh.points).reshape(-1, 3)
        weights, volume = as_floats(mesh.weights), as_floats(mesh.volume)
        parts.append(_SoftPart(i, weights, volume, points, here, own, fixed, here))
        first = here.stop
    return parts


def _widened_parts(
    cells: dict[int, CellMesh], stiffness: float
) -> tuple[list[_SoftPart], list[SortedBlocks]]:
    """The one soft part, its magnetisation of continuous normal component, and its operator."""
    ((i, mesh),) = cells.items()
    kept = kept_continuous(mesh, stiffness)
    widened = widened_part(mesh, kept.mixed, kept.wide)
    volume = widened.volume.ravel()
    none = np.zeros((len(volume), 3))
    part = _SoftPart(
        body=i, weights=np.ones((len(volume), 1)), volume=volume,
        points=np.ascontiguousarray(widened.points.reshape(-1, 3)),
        cells=slice(0, len(mesh.volume)), own=none, fixed=np.zeros((len(mesh.volume), 3)),
        places=slice(0, len(mesh.volume)), widened=widened,
    )  # fmt: skip
    return [part], [kept.own]


def _flux_parts(
    meshes: Iterable[CellMesh], susceptibility: Sequence[float]
) -> tuple[FluxPart, ...]:
    """The parts of all meshes; of equal ones only one is made."""
    made: dict[tuple[object, ...], FluxPart] = {}
    found = []
    for mesh, chi in zip(meshes, susceptibility, strict=True):
        key = (*(x.tobytes() for x in (mesh.corners, mesh.cells, mesh.points)), mesh.mirrors, chi)
        if key not in made:
            made[key] = _flux_part(mesh, chi)
        found.append(made[key])
    return tuple(found)


def _flux_part(mesh: CellMesh, susceptibility: float) -> FluxPart:
    stiffness = max(1 / susceptibility, LEAST_STIFFNESS)
    return flux_part(mesh, stiffness, kept_fluxes(mesh, susceptibility, stiffness))


def _flux_places(cells: dict[int, CellMesh], fluxes: Sequence[FluxPart]) -> list[_SoftPart]:
    """Where the field acts on soft parts whose fluxes are unknowns: each point as on a cell."""
    parts: list[_SoftPart] = []
    first, place = 0, 0
    for (i, mesh), flux in zip(cells.items(), fluxes, strict=True):
        volume = flux.share.ravel()
        here, there = slice(first, first + len(mesh.volume)), slice(place, place + len(volume))
        points = np.ascontiguousarray(flux.points.reshape(-1, 3))
        none = np.zeros((len(volume), 3))
        fixed = np.zeros((len(mesh.volume), 3))
        weights = np.ones((len(volume), 1))
        parts.append(_SoftPart(i, weights, volume, points, here, none, fixed, there))
        first, place = here.stop, there.stop
    return parts


def _faces(parts: list[_SoftPart], cells: dict[int, CellMesh]) -> _Faces:
    every = [charged_faces(cells[part.body]) for part in parts]
    packed = [face_set(faces) for faces in every]
    return _Faces(
        packed=packed,
        gather=np.concatenate([one.nodes.gather for one in packed]),
        first=np.cumsum([0, *(len(faces.cell) for faces in every)]),
        cell=np.concatenate(
            [faces.cell + part.cells.start for faces, part in zip(every, parts, strict=True)]
        ),
        outward=np.concatenate([faces.outward for faces in every]),
    )


def _problem(
    curves: CurveSet, cells: dict[int, CellMesh], sorted_out: list[SortedBlocks]
) -> Problem:
    chi = curves.susceptibility
    counts = [len(mesh.volume) for mesh in cells.values()]
    body = np.repeat(np.arange(len(counts)), counts)
    blocks = [s.blocks for s in sorted_out]
    eased = [min(float(x), RELAXED) for x in chi]
    return Problem(
        where=layout(
            [len(mesh.volume) // 2 ** len(mesh.mirrors) for mesh in cells.values()],
            [flips(mesh.mirrors) for mesh in cells.values()],
            [s.sectors for s in sorted_out],
        ),
        curves=curves,
        body=body,
        volume=np.concatenate([np.empty(0), *(mesh.volume for mesh in cells.values())]),
        slope=1 / chi[body],
        demagnetising=buffer(blocks),
        rough=buffer(blocks, np.float32),
        shifted=buffer([s.inverse(float(x)) for s, x in zip(sorted_out, chi, strict=True)]),
        relaxed=buffer([s.inverse(x) for s, x in zip(sorted_out, eased, strict=True)], np.float32),
    )


def _act_on_pair(
    first: _Magnet,
    second: _Magnet,
    position: Array,
    quaternion: Array,
    turns: Array,
    balance: _Balance,
) -> float:
    """Add the forces of two magnets upon each other; return their energy [J].

    The field is that of the larger one, but a ball is acted on as its centre's dipole, exactly.
    A coil acts on a magnet, which may lie in its bore, and on a smaller coil. Further apart than
    the smaller one's size its volume's rule errs by less than 1e-9, and is used; closer, the charge
    on its faces.
    """
    if _acts_second(first, second):
        first, second = second, first
    i, j = first.body, second.body
    away = position[j] - position[i]
    near = float(np.linalg.norm(away)) < first.reach + second.reach + second.surface.size
    near = near and not (first.is_coil or second.is_coil)
    at = slice(i, i + 1)
    arms, weights = second.points @ turns[j].T, second.weights
    if near:
        arms, weights = second.surface.balls[:, :3] @ turns[j].T, second.surface.balls[:, 3]
    m = turns[j] @ second.magnetisation
    force, torque, energy = np.zeros(3), np.zeros(3), 0.0
    if len(arms):
        points = np.ascontiguousarray(arms + position[j])
        h, gradient = first.source.field_and_gradient(position[at], quaternion[at], points)
        force, torque, energy = magnet_pair.load_on_magnet(h, gradient, arms, weights, m)
    if near and len(second.surface.patches):
        back = turns[i].T
        f, t, e = load_between(
            first.surface, first.magnetisation, second.surface, second.magnetisation,
            np.ascontiguousarray(back @ turns[j]), back @ away,
        )  # fmt: skip
        force, torque, energy = force + turns[i] @ f, torque + turns[i] @ t, energy + e
    balance.add(j, np.concatenate([force, torque]), i)
    return energy


def _acts_second(first: _Magnet, second: _Magnet) -> bool:
    """Is it the field of the second one that is taken?"""
    if first.is_coil != second.is_coil:
        return second.is_coil
    if first.is_coil:
        return second.reach > first.reach
    larger = bool(second.weights.sum() > first.weights.sum())
    return first.surface.is_ball or (larger and not second.surface.is_ball)
