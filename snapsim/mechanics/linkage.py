"""The joints of a scene together: their rows as one matrix, their reactions, and projections.

    M du/dt = f + J^T p,    J du/dt = c,    p = (J W J^T)^+ (c - J W f),    W = M^-1
    W' = W - W J^T (J W J^T)^+ J W

u (6n,) velocities and spins of all bodies, M mass and inertia in world axes (W zero for what is
fixed), f applied and gyroscopic forces, J (m, 6n) all rows that hold as equalities, c their wanted
accelerations dr/dt - dJ/dt u, p their multipliers; + the pseudo-inverse, so redundant rows share
the load evenly in the norm of scaled rows. W' is the inverse mass of the jointed bodies as a push
from outside meets it: an impulse g changes u by W' g, joints kept. One-sided rows are in J while
they are closed; friction rows while they stick. Source: Shabana, Dynamics of Multibody Systems,
4th ed. 2013, chapter 3; Featherstone, Rigid Body Dynamics Algorithms, 2008, chapter 8 (both from
memory).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import numpy as np

from snapsim.arrays import Array, BoolArray, IntArray
from snapsim.mechanics.cone_complementarity import solve_contacts
from snapsim.mechanics.joints.contract import STILL, Joint, Rows, Side, cross
from snapsim.mechanics.rigid_bodies import RigidBodies
from snapsim.numerics import rotations
from snapsim.parts.states import Pose, State

EQUALITY, LIMIT, FRICTION = 0, 1, 2
"""What a row is: always kept, one-sided, or the line along which a joint rubs."""

REDUNDANT = 1e-11
"""Share of the largest eigenvalue of the scaled J W J^T below which rows count as redundant."""

HELD = 1e-9
"""Share of the free inverse mass below which a row counts as held fast by the joints."""

AGREED = 1e-3
"""Share of the friction of bearings by which it may miss what reactions make of it."""

STICTION = 1e-9
"""Share by which friction that sticks may exceed its limit: rounding."""


@dataclass(frozen=True)
class Mode:
    """Which joints last, which one-sided rows (joint, row) are closed, and how each joint slips.

    `slip` maps a joint that rubs to +1 or -1, the sense in which it moves, or 0 where it sticks.
    """

    attached: frozenset[int]
    closed: frozenset[tuple[int, int]] = frozenset()
    slip: Mapping[int, float] = field(default_factory=dict)


@dataclass(frozen=True)
class Stack:
    """m rows of many joints over all bodies: `jacobian` (m, 6n), the rest (m,), see `Rows`.

    `joint` numbers the row's joint, `kind` is EQUALITY, LIMIT or FRICTION, `row` its number there.
    """

    jacobian: Array
    error: Array
    bias: Array
    rate: Array
    acceleration: Array
    joint: IntArray
    kind: IntArray
    row: IntArray

    def __len__(self) -> int:
        return len(self.error)

    def only(self, chosen: BoolArray | IntArray) -> Stack:
        """Return the chosen rows (mask or indices)."""
        return Stack(
            self.jacobian[chosen],
            self.error[chosen],
            self.bias[chosen],
            self.rate[chosen],
            self.acceleration[chosen],
            self.joint[chosen],
            self.kind[chosen],
            self.row[chosen],
        )

    def at_rates(self, rate: Array) -> Stack:
        """Return the same rows driven at other rates (m,)."""
        return replace(self, rate=rate)


@dataclass(frozen=True)
class Reactions:
    """What the joints do at one moment. n bodies, j joints, m rows of `stack`.

    `multiplier` (m,); `wrench` (n, 6) force and torque about each centre of mass [N, N m];
    `acceleration` (6n,); `force` (j, 3) on each joint's first body (second, where the first is the
    world) and `torque` (j, 3) about the joint's point there; `friction_limit` (j,) largest
    friction; powers [W] of friction and of what drives the joints from outside. They are `agreed`
    where friction follows from the reactions and these from friction, to `AGREED`.
    """

    stack: Stack
    multiplier: Array
    wrench: Array
    acceleration: Array
    force: Array
    torque: Array
    friction_limit: Array
    friction_power: float
    drive_power: float
    agreed: bool


class Linkage:
    """All joints of a scene over `count` bodies."""

    def __init__(self, joints: tuple[Joint, ...], count: int) -> None:
        self.joints, self.count = joints, count
        self.none = self._stacked([])

    def rows(self, state: State, time: float, attached: frozenset[int]) -> Stack:
        """Return every row of the attached joints."""
        if not attached:
            return self.none
        turns = rotations.matrix(state.pose.quaternion)
        found: list[tuple[int, int, Rows]] = []
        for number in sorted(attached):
            joint = self.joints[number]
            a, b = (self._side(state, turns, body) for body in joint.bodies)
            found.append((number, EQUALITY, joint.equalities(a, b, time)))
            found.append((number, LIMIT, joint.inequalities(a, b)))
            found.append((number, FRICTION, joint.friction_row(a, b)))
        return self._stacked([f for f in found if len(f[2])])

    def _side(self, state: State, turns: Array, body: int) -> Side:
        if body < 0:
            return STILL
        pose = state.pose
        return Side(
            pose.position[body],
            pose.quaternion[body],
            turns[body],
            state.velocity[body],
            state.spin[body],
        )

    def _stacked(self, found: list[tuple[int, int, Rows]]) -> Stack:
        total = sum(len(part) for _, _, part in found)
        jacobian, numbers = np.zeros((total, 6 * self.count)), np.zeros((4, total))
        labels = np.zeros((3, total), dtype=np.int64)
        at = 0
        for number, kind, part in found:
            here = slice(at, at + len(part))
            for side, body in enumerate(self.joints[number].bodies):
                if body >= 0:
                    block = part.jacobian[:, 6 * side : 6 * side + 6]
                    jacobian[here, 6 * body : 6 * body + 6] = block
            numbers[:, here] = part.error, part.bias, part.rate, part.acceleration
            labels[0, here], labels[1, here] = number, kind
            labels[2, here] = np.arange(len(part))
            at += len(part)
        return Stack(jacobian, *numbers, *labels)

    def loads(self, stack: Stack, multiplier: Array, pose: Pose) -> tuple[Array, Array]:
        """Return force (j, 3) and torque (j, 3) of every joint as `Reactions` has them."""
        force, torque = np.zeros((len(self.joints), 3)), np.zeros((len(self.joints), 3))
        for number in sorted(set(stack.joint.tolist())):
            joint, mine = self.joints[number], stack.joint == number
            side = 0 if joint.bodies[0] >= 0 else 1
            body = joint.bodies[side]
            wrench = stack.jacobian[mine, 6 * body : 6 * body + 6].T @ multiplier[mine]
            arm = rotations.rotate(pose.quaternion[body], joint.points[side])
            force[number] = wrench[:3]
            torque[number] = wrench[3:] - cross(arm, wrench[:3])
        return force, torque


def kept(stack: Stack, mode: Mode) -> BoolArray:
    """Return which rows (m,) hold as equalities in `mode`."""
    chosen: BoolArray = stack.kind == EQUALITY
    for i in np.flatnonzero(stack.kind == LIMIT):
        chosen[i] = (int(stack.joint[i]), int(stack.row[i])) in mode.closed
    for i in np.flatnonzero(stack.kind == FRICTION):
        chosen[i] = mode.slip.get(int(stack.joint[i]), 0.0) == 0.0
    return chosen


def inverse_mass_matrix(bodies: RigidBodies, quaternion: Array) -> Array:
    """Return W (6n, 6n) in world axes, blocks of inverse mass and inertia."""
    inverse = bodies.inverse_inertia_world(quaternion)
    n = len(bodies.mass)
    matrix = np.zeros((6 * n, 6 * n))
    for i in range(n):
        for k in range(6 * i, 6 * i + 3):
            matrix[k, k] = bodies.inverse_mass[i]
        matrix[6 * i + 3 : 6 * i + 6, 6 * i + 3 : 6 * i + 6] = inverse[i]
    return matrix


class Elimination:
    """Rows J (m, 6n) taken out of an inverse mass W (6n, 6n): solves J W J^T, and gives W'."""

    def __init__(self, jacobian: Array, inverse_mass: Array) -> None:
        self.jacobian = jacobian
        self.response = inverse_mass @ jacobian.T
        operator = jacobian @ self.response
        size = np.sqrt(np.maximum(np.diag(operator), 0.0))
        self._scale = np.divide(1.0, size, out=np.zeros_like(size), where=size > 0)
        scaled = operator * self._scale[:, None] * self._scale
        values, vectors = np.linalg.eigh(scaled)
        real = values > REDUNDANT * max(values.max(initial=0.0), 1e-300)
        inverse = np.divide(1.0, values, out=np.zeros_like(values), where=real)
        self._inverse = (vectors * inverse) @ vectors.T

    def solve(self, wanted: Array) -> Array:
        """Return p (m,) with J W J^T p = wanted, the least one where rows are redundant."""
        p: Array = self._scale * (self._inverse @ (self._scale * wanted))
        return p

    @property
    def inverse(self) -> Array:
        """(J W J^T)^+ (m, m)."""
        inverse: Array = self._scale[:, None] * self._inverse * self._scale
        return inverse

    def reduced(self, inverse_mass: Array) -> Array:
        """Return W' (6n, 6n), symmetric."""
        rows = self._scale[:, None] * self.response.T
        left = inverse_mass - rows.T @ self._inverse @ rows
        even: Array = 0.5 * (left + left.T)
        return even


def stacked_velocity(state: State) -> Array:
    """Return u (6n,): velocity and spin of each body in turn."""
    return np.concatenate([state.velocity, state.spin], axis=1).ravel()


def with_velocity(state: State, u: Array) -> State:
    """Return the state with velocities and spins from u (6n,)."""
    both = u.reshape(-1, 6)
    return State(state.pose, both[:, :3].copy(), both[:, 3:].copy())


def react(
    linkage: Linkage,
    bodies: RigidBodies,
    state: State,
    time: float,
    mode: Mode,
    force: Array,
    torque: Array,
    rows: Stack | None = None,
) -> Reactions:
    """Return what the joints do under applied `force` (weight included) and `torque` (n, 3)."""
    rows = linkage.rows(state, time, mode.attached) if rows is None else rows
    chosen = kept(rows, mode)
    stack, sliding = rows.only(chosen), rows.only(~chosen & (rows.kind == FRICTION))
    inverse_mass = inverse_mass_matrix(bodies, state.pose.quaternion)
    gyroscopic = rotations.crossed(state.spin, bodies.angular_momentum(state))
    applied = np.concatenate([force, torque - gyroscopic], axis=1).ravel()
    multiplier, rubbing, limits, agreed = _rubbed(
        linkage, rows, stack, sliding, mode, inverse_mass, applied
    )
    total = applied + sliding.jacobian.T @ rubbing + stack.jacobian.T @ multiplier
    wrench = (sliding.jacobian.T @ rubbing + stack.jacobian.T @ multiplier).reshape(-1, 6)
    u = stacked_velocity(state)
    load, twist = linkage.loads(stack, multiplier, state.pose)
    more, extra = linkage.loads(sliding, rubbing, state.pose)
    return Reactions(
        stack,
        multiplier,
        wrench,
        inverse_mass @ total,
        load + more,
        twist + extra,
        limits,
        float(rubbing @ (sliding.jacobian @ u)),
        float(multiplier @ stack.rate),
        agreed,
    )


def _rubbed(
    linkage: Linkage,
    rows: Stack,
    stack: Stack,
    sliding: Stack,
    mode: Mode,
    inverse_mass: Array,
    applied: Array,
) -> tuple[Array, Array, Array, bool]:
    """Multipliers of the rows held, friction of the bearings that slide, and its limits, which
    follow from the multipliers: turn about until they agree, and whether they did."""
    elimination = Elimination(stack.jacobian, inverse_mass)
    wanted = stack.acceleration - stack.bias
    rubbing = np.zeros(len(sliding))
    for _ in range(50):
        total = applied + sliding.jacobian.T @ rubbing
        multiplier = elimination.solve(wanted - elimination.response.T @ total)
        before, limits = rubbing, friction_limits(linkage, rows, stack, multiplier)
        rubbing = -np.array([mode.slip[int(j)] * limits[j] for j in sliding.joint])
        if np.all(np.abs(rubbing - before) <= 1e-12 * np.abs(before)):
            break
    return multiplier, rubbing, limits, agree(rubbing, before)


def agree(one: Array, other: Array) -> bool:
    """Return whether friction (k,) of two turns is the same to `AGREED`."""
    return bool(np.all(np.abs(one - other) <= AGREED * np.abs(other)))


def friction_limits(linkage: Linkage, rows: Stack, stack: Stack, multiplier: Array) -> Array:
    """Return the largest friction (j,) of every joint that rubs, zero for the others."""
    limits = np.zeros(len(linkage.joints))
    for number in rows.joint[rows.kind == FRICTION]:
        mine = (stack.joint == number) & (stack.kind == EQUALITY)
        limits[number] = linkage.joints[number].friction_limit(multiplier[mine])
    return limits


def closed_rows(
    linkage: Linkage,
    bodies: RigidBodies,
    state: State,
    time: float,
    mode: Mode,
    force: Array,
    torque: Array,
    candidates: frozenset[tuple[int, int]],
) -> frozenset[tuple[int, int]]:
    """Return which of the one-sided rows that touch stay closed: those that must pull.

    Accelerations and multipliers of the candidates are complementary, all others as in `mode`.
    """
    if not candidates:
        return candidates
    rows = linkage.rows(state, time, mode.attached)
    free = replace(mode, closed=mode.closed - candidates)
    found = react(linkage, bodies, state, time, free, force, torque, rows)
    inverse_mass = inverse_mass_matrix(bodies, state.pose.quaternion)
    reduced = Elimination(found.stack.jacobian, inverse_mass).reduced(inverse_mass)
    wanted = rows.only(kept(rows, replace(free, closed=candidates)) & (rows.kind == LIMIT))
    wanted = wanted.only(loose(wanted, reduced, inverse_mass))
    opening = wanted.jacobian @ found.acceleration + wanted.bias
    push = one_sided_multipliers(wanted.jacobian @ reduced @ wanted.jacobian.T, opening)
    pulls = zip(wanted.joint.tolist(), wanted.row.tolist(), push.tolist(), strict=True)
    return frozenset((joint, row) for joint, row, size in pulls if size > 0)


def starting_slips(
    linkage: Linkage,
    bodies: RigidBodies,
    state: State,
    time: float,
    mode: Mode,
    force: Array,
    torque: Array,
    rows: Stack,
    *,
    resting: list[int],
) -> dict[int, float]:
    """Return the sense in which each of the `resting` bearings starts to slip, 0 where it sticks.

    Friction f and accelerations a of the bearings obey Coulomb's law together: |f| <= limit, and
    f = -limit sign(a) where a is not 0. The limits are those of `mode`. Bearings that closed rows
    hold are left out.
    """
    if not resting:
        return {}
    limits = react(linkage, bodies, state, time, mode, force, torque, rows).friction_limit
    mine = (rows.kind == FRICTION) & np.isin(rows.joint, resting)
    rubs, rest = rows.only(mine), rows.only(~mine)
    found = react(linkage, bodies, state, time, mode, force, torque, rest)
    inverse_mass = inverse_mass_matrix(bodies, state.pose.quaternion)
    reduced = Elimination(found.stack.jacobian, inverse_mass).reduced(inverse_mass)
    rubs = rubs.only(loose(rubs, reduced, inverse_mass))
    senses = _senses(rubs, reduced, found.acceleration, limits[rubs.joint])
    return dict(zip(rubs.joint.tolist(), senses.tolist(), strict=True))


def _senses(rubs: Stack, reduced: Array, acceleration: Array, limit: Array) -> Array:
    """In which sense bearings start to slip that would accelerate so without friction, 0 where
    friction below its limit holds them."""
    free = rubs.jacobian @ acceleration + rubs.bias
    friction = bounded_multipliers(rubs.jacobian @ reduced @ rubs.jacobian.T, free, limit)
    sticks = (np.abs(friction) < limit * (1 - STICTION)) | (free == 0.0)
    return np.where(sticks, 0.0, np.where(friction == 0.0, np.sign(free), -np.sign(friction)))


def loose(stack: Stack, reduced: Array, inverse_mass: Array) -> BoolArray:
    """Return which rows (m,) can move at all, what else is kept held."""
    left, whole = (
        np.einsum("ri,ij,rj->r", stack.jacobian, w, stack.jacobian) for w in (reduced, inverse_mass)
    )
    can: BoolArray = left > HELD * whole
    return can


def bounded_multipliers(operator: Array, free: Array, limit: Array) -> Array:
    """Return f (k,), |f| <= limit, with a = operator f + free zero or against f at its limit.

    Gauss-Seidel on the box-constrained minimum of f.operator f/2 + free.f, operator semidefinite.
    """
    f = np.zeros(len(free))
    for _ in range(500):
        change = 0.0
        for i in range(len(f)):
            if operator[i, i] <= 0.0:
                continue
            new = f[i] - (operator[i] @ f + free[i]) / operator[i, i]
            new = float(np.clip(new, -limit[i], limit[i]))
            change = max(change, abs(new - f[i]) / max(limit[i], 1e-300))
            f[i] = new
        if change < 1e-12:
            break
    return f


def one_sided_multipliers(operator: Array, free: Array) -> Array:
    """Return p (k,) >= 0 with operator p + free >= 0, complementary: contacts without friction."""
    size = len(free)
    wide, q = widened(operator), np.zeros(3 * size)
    q[::3] = free
    scale = float(np.abs(free).max(initial=0.0))
    p, _ = solve_contacts(wide, q, np.zeros(size), np.zeros(3 * size), 1e-12 * scale + 1e-300)
    one: Array = p[::3].copy()
    return one


def widened(operator: Array) -> Array:
    """Return (3k, 3k) from (k, k): the other two axes of each row are there but do nothing."""
    size = len(operator)
    wide = np.zeros((3 * size, 3 * size))
    wide[::3, ::3] = operator
    for axis in (1, 2):
        index = np.arange(size) * 3 + axis
        wide[index, index] = np.diag(operator)
    return wide


def on_joints_pose(
    linkage: Linkage, bodies: RigidBodies, pose: Pose, time: float, mode: Mode
) -> Pose:
    """Return the nearest pose, weighted by mass, in which every kept row has no misfit."""
    if not mode.attached:
        return pose
    still = np.zeros_like(pose.position)
    for _ in range(6):
        rows = linkage.rows(State(pose, still, still), time, mode.attached)
        stack = rows.only(kept(rows, mode) & (rows.kind != FRICTION))
        if np.abs(stack.error).max(initial=0.0) < 1e-13:
            break
        inverse_mass = inverse_mass_matrix(bodies, pose.quaternion)
        elimination = Elimination(stack.jacobian, inverse_mass)
        pose = moved(pose, -elimination.response @ elimination.solve(stack.error))
    return pose


def moved(pose: Pose, change: Array) -> Pose:
    """Return the pose after displacements and small turns `change` (6n,) [m, rad]."""
    both = change.reshape(-1, 6)
    turns = np.array([rotations.from_rotation_vector(w) for w in both[:, 3:]])
    quaternion = rotations.normalise(rotations.multiply(turns, pose.quaternion))
    return Pose(pose.position + both[:, :3], quaternion)


def on_joints_velocity(
    linkage: Linkage, bodies: RigidBodies, state: State, time: float, mode: Mode
) -> State:
    """Return the state with the nearest velocities, weighted by mass, that keep every row."""
    if not mode.attached:
        return state
    rows = linkage.rows(state, time, mode.attached)
    stack = rows.only(kept(rows, mode))
    inverse_mass = inverse_mass_matrix(bodies, state.pose.quaternion)
    elimination = Elimination(stack.jacobian, inverse_mass)
    u = stacked_velocity(state)
    misfit = stack.jacobian @ u - stack.rate
    return with_velocity(state, u - elimination.response @ elimination.solve(misfit))
