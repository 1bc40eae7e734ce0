"""Impact: what a blow does to velocities, at a fixed pose, with restitution and friction.

    M (v' - v) = G^T p,    p_n >= 0,    |p_t| <= mu p_n,    W_r = -e^2 W_c,    W = int u_n dp_n

p (c, 3) impulses [N s] on body a of each pair, opposite on b; v (n, 3) velocities [m/s] and spins
[rad/s]; M mass and inertia in world axes, inverse zero for what is fixed; e restitution 0..1, mu
friction >= 0. All contacts that touch at that moment are given together. Contacts that share no
movable body are resolved apart from each other. A lone contact follows Stronge's energetic
restitution with Keller's equations of slip (`stronge`), several together the units of
`simultaneous_blows`, as stiff as `contact_springs` has them. Energy is never gained. Assumes:
forces other than those of contact do nothing during the blow, deformation stays at the contacts.
The velocities do not depend on the
order of bodies or contacts; where four or more contacts stick at once, how tangential impulse is
shared among them is not determined by rigid bodies, only its sum is.
Source: Stronge, Impact Mechanics, 2nd ed. 2018 (from memory).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from snapsim.arrays import Array, BoolArray, IntArray
from snapsim.mechanics.contact import ContactSet
from snapsim.mechanics.contact_springs import Springs, equal_springs
from snapsim.mechanics.delassus import contact_velocity, to_world
from snapsim.mechanics.mobility import NO_LINES, NO_ROOM, Lines, Mobility, apply_impulses, assembled
from snapsim.mechanics.simultaneous_blows import MOST_STEPS, STEP, simultaneous_blows
from snapsim.mechanics.stronge import single_blow
from snapsim.numerics.compilation import compiled, part_of_caller
from snapsim.parts.states import State

SAME_PLACE: Final = 1e-3
"""Of a contact's distance from the nearer centre of mass: no two corners of a part are closer."""

NUDGE: Final = 4e-6
"""Closing speed, as a share of the slip, that a slide which jams begins with: the blow errs by as
much. Above what `simultaneous_blows` is quiet below."""


@dataclass(frozen=True)
class Blow:
    """What a blow did. n bodies, c contacts, joints' one-sided rows after them.

    `velocity` and `spin` (n, 3) after it, world axes [m/s, rad/s]; `impulse` (c, 3) on a, world
    axes [N s] (of a row its size, in the first place); `normal_work` and `friction_work` (c,) [J]
    done by the contacts on the bodies; `stored_work` (c,) the most that each was compressed by [J];
    `effective_mass` (c,) 1/(n W n) [kg], infinite between fixed
    bodies; `closing_speed` (c,) before the blow [m/s], negative where a contact was opening; `lost`
    kinetic energy [J], >= 0 to rounding; `steps` the most that contacts took which met together.
    """

    velocity: Array
    spin: Array
    impulse: Array
    normal_work: Array
    friction_work: Array
    stored_work: Array
    effective_mass: Array
    closing_speed: Array
    lost: float
    steps: int

    @property
    def whole(self) -> bool:
        """Whether it was followed to its end."""
        return self.steps < MOST_STEPS


def resolve_impact(
    body: Mobility,
    state: State,
    contacts: ContactSet,
    restitution: Array,
    friction: Array,
    limits: Lines = NO_LINES,
    bounce: Array = NO_ROOM,
    *,
    fineness: float = STEP,
    springs: Springs | None = None,
    quiet: float = 0.0,
    slip: float = 0.0,
) -> Blow:
    """Return what the blow at all given contacts (c) and one-sided rows of joints (k) does.

    `restitution`, `friction` (c,) of the contacts, `bounce` (k,) the restitution of the `limits`;
    the state must be on the joints. Several contacts together: `fineness` is the step, relative to
    the fastest contact unit; `springs` says how stiff they are, equally without it; no rebound
    slower than `quiet` [m/s] is followed. A slide that jams is a blow in which nothing closes at
    first: friction at the contacts' `slip` [m/s], zero otherwise, makes them close.
    """
    after, turning, count = state.velocity.copy(), state.spin.copy(), len(bounce)
    units = _with_rows(springs or equal_springs(len(contacts)), count)
    if count:
        restitution = np.concatenate([restitution, bounce])
        friction = np.concatenate([friction, np.zeros(count)])
    impulse, works, closing, mass, steps = _blow(
        state.pose.position,
        body.inverse_mass,
        body.inverse_inertia,
        body.held,
        after,
        turning,
        contacts.places,
        limits,
        restitution,
        friction,
        units,
        (fineness, quiet, slip),
    )
    lost = -float(works[:2].sum())
    each = works[0], works[1], works[2]
    return Blow(after, turning, impulse, *each, mass, closing, lost, steps)


def _with_rows(springs: Springs, count: int) -> tuple[Array, BoolArray]:
    """Stiffness and whether it is linear of all contacts, and of `count` one-sided rows, which are
    as stiff as the stiffest of these."""
    k, linear = springs.stiffness, springs.linear
    if not count:
        return k, linear
    stiffest = int(np.argmax(k)) if len(k) else -1
    row = (k[stiffest], linear[stiffest]) if len(k) else (1.0, np.False_)
    return np.append(k, np.full(count, row[0])), np.append(linear, np.full(count, row[1]))


@compiled
def _blow(
    position: Array,
    inverse_mass: Array,
    inverse_inertia: Array,
    held: tuple[Array, Array, Array],
    velocity: Array,
    spin: Array,
    contacts: tuple[IntArray, Array, Array],
    limits: tuple[IntArray, Array],
    restitution: Array,
    friction: Array,
    units: tuple[Array, BoolArray],
    ways: tuple[float, float, float],
) -> tuple[Array, Array, Array, Array, int]:
    """Change `velocity` and `spin` in place; return impulse, works, closing speed, mass, steps."""
    count, total = len(contacts[0]), restitution.size
    frame, pair, rows, response, operator, coupling = assembled(
        position, inverse_mass, inverse_inertia, held, contacts, limits
    )
    before, apart = contact_velocity(velocity, spin, pair, rows), np.ones(total, dtype=np.bool_)
    apart[:count] = standing_apart(position, contacts[0], contacts[1], contacts[2])
    impulse, works, steps = blow_on_operator(
        operator, before, restitution, friction, units, apart, ways
    )
    apply_impulses(velocity, spin, pair, response, impulse, coupling, held)
    mass, world = np.empty(total), np.zeros((total, 3))
    world[:count] = to_world(frame, impulse[: 3 * count])
    for k in range(total):
        mass[k] = 1.0 / operator[3 * k, 3 * k] if operator[3 * k, 3 * k] > 0.0 else np.inf
        if k >= count:
            world[k, 0] = impulse[3 * k]
    return world, works, -before[::3].copy(), mass, steps


@compiled
def standing_apart(position: Array, pair: IntArray, point: Array, normal: Array) -> BoolArray:
    """Return for each contact (c,) whether no earlier one of its pair is at the same place.

    Where edges nearly coincide a corner and the crossing beside it are both found; two springs at
    one place would be twice as stiff as the contact is, and draw the blow to them. The same place
    is one within `SAME_PLACE` of the distance to the nearer of the two centres.
    """
    count = pair.shape[0]
    apart = np.ones(count, dtype=np.bool_)
    for k in range(count):
        near = np.inf
        for side in range(2):
            near = min(near, _distance(point[k], position[pair[k, side]]))
        for j in range(k):
            if (
                apart[j]
                and pair[j, 0] == pair[k, 0]
                and pair[j, 1] == pair[k, 1]
                and _distance(point[j], point[k]) < SAME_PLACE * near
                and _distance(normal[j], normal[k]) < SAME_PLACE
            ):
                apart[k] = False
    return apart


@part_of_caller
def _distance(a: Array, b: Array) -> float:
    return float(np.sqrt((a[0] - b[0]) ** 2 + (a[1] - b[1]) ** 2 + (a[2] - b[2]) ** 2))


@compiled
def blow_on_operator(
    operator: Array,
    before: Array,
    restitution: Array,
    friction: Array,
    units: tuple[Array, BoolArray],
    apart: BoolArray,
    ways: tuple[float, float, float],
) -> tuple[Array, Array, int]:
    """Return impulse (3c,), normal, friction and stored work (3, c) and the most steps that
    contacts took which met together, from W and velocities.

    Contacts that do not stand `apart` (c,) take no part: others are where they are. `units` are
    stiffness and whether it is linear (c,); `ways` are fineness, quiet and slip of
    `simultaneous_blows`.
    """
    count = restitution.size
    impulse, works, steps = np.zeros(3 * count), np.zeros((3, count)), 0
    island = _islands(operator)
    for label in range(count):
        members = np.flatnonzero((island == label) & apart)
        if members.size > 0:
            taken = _resolve_island(
                operator, before, restitution, friction, units, ways, members, impulse, works,
            )  # fmt: skip
            steps = max(steps, taken)
    return impulse, works, steps


@compiled
def _islands(operator: Array) -> IntArray:
    """Return a label (c,) per contact; contacts that act on each other share one."""
    count = operator.shape[0] // 3
    label = np.arange(count)
    for i in range(count):
        for j in range(i):
            if label[i] != label[j] and np.any(
                operator[3 * i : 3 * i + 3, 3 * j : 3 * j + 3] != 0.0
            ):
                old, new = max(label[i], label[j]), min(label[i], label[j])
                for k in range(count):
                    if label[k] == old:
                        label[k] = new
    return label


@part_of_caller
def _resolve_island(
    operator: Array,
    before: Array,
    restitution: Array,
    friction: Array,
    units: tuple[Array, BoolArray],
    ways: tuple[float, float, float],
    members: IntArray,
    impulse: Array,
    works: Array,
) -> int:
    """Fill in impulse and work of the contacts `members`; return the steps it took."""
    count = members.size
    rows = np.empty(3 * count, dtype=np.int64)
    for k in range(count):
        for i in range(3):
            rows[3 * k + i] = 3 * members[k] + i
    block, start = np.empty((3 * count, 3 * count)), before[rows]
    for i in range(3 * count):
        for j in range(3 * count):
            block[i, j] = operator[rows[i], rows[j]]
    if ways[2] > 0.0:
        for k in range(count):
            start[3 * k] = min(start[3 * k], -NUDGE * ways[2])
    if count == 1:
        return _lone(block, start, restitution, friction, members[0], impulse, works)
    if np.max(-start[::3]) <= 0.0:
        return 0
    found, work, steps = simultaneous_blows(
        block, start, restitution[members], friction[members], units[0][members],
        units[1][members], ways[0], ways[1], ways[2],
    )  # fmt: skip
    for k in range(count):
        impulse[3 * members[k] : 3 * members[k] + 3] = found[3 * k : 3 * k + 3]
        for i in range(3):
            works[i, members[k]] = work[i, k]
    return steps


@part_of_caller
def _lone(
    block: Array,
    start: Array,
    restitution: Array,
    friction: Array,
    k: int,
    impulse: Array,
    works: Array,
) -> int:
    """Fill in impulse and work of contact `k`, which meets no other."""
    result = single_blow(block, start, restitution[k], friction[k])
    total = 0.0
    for i in range(3):
        impulse[3 * k + i] = result[i]
        change = 0.0
        for j in range(3):
            change += block[i, j] * result[j]
        total += result[i] * (start[i] + 0.5 * change)
    works[0, k] = result[3]
    works[1, k] = total - result[3]
    works[2, k] = -single_blow(block, start, 0.0, friction[k])[3]
    return MOST_STEPS if result[4] > 0.0 else 0
