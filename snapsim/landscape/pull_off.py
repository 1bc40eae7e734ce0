"""What it takes to pull or tip a touching body off what it touches, at rest.

    maximise f    subject to    w + f e + sum_i a_i g_i = 0,    a_i >= 0,    f >= 0

w (6,) force [N] and torque [N m] of magnets and weight about the centre of mass, e the unit load of
the hand (a force along the mean contact normal through the centre of mass, or a torque about an
axis across it), g_i the edges of the contacts' friction cones (eight a cone, inscribed, so friction
is at most 8 % short) and of taut strings. The largest f that rest can bear is what has to be
exceeded. Of all torques the weakest of 24 axes counts: that is the way it tips first. Assumptions:
rigid bodies, the load rises slowly, and the contact points are those of the present pose. Source:
static equilibrium with friction cones as a linear programme, Siciliano & Khatib (eds.), Springer
Handbook of Robotics, 2nd ed. 2016, section 38.4 (from memory).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.optimize import linprog

from snapsim.arrays import Array
from snapsim.landscape.constraints import Constraints, Limits
from snapsim.landscape.place import Place

EDGES = 8
AXES = 24

NEAR = 2e-6
"""Gap [m] up to which surfaces count as touching: what a scene file places as touching is not
exact to rounding."""


@dataclass(frozen=True)
class PullOff:
    """`force` [N] along `direction` (3,) and `torque` [N m] about `axis` (3,), world axes, that
    rest can just bear; `against` the names of what is touched. Infinite where nothing gives way."""

    force: float
    direction: Array
    torque: float
    axis: Array
    against: tuple[str, ...]


def pull_off(constraints: Constraints, place: Place, load: Array) -> PullOff | None:
    """Return what it takes at `place` under `load` (6,), force and torque of magnets and weight.

    None where nothing is touched or the part would not rest there.
    """
    limits = constraints.limits(place, NEAR).touching(NEAR)
    if not len(limits.other):
        return None
    radius = float(np.sqrt(np.trace(constraints.body.shape.gyration) / 3))
    scale = np.append(np.ones(3), np.full(3, 1 / radius))
    cone = _generators(limits, place)
    out = limits.normal.mean(axis=0)
    if not np.linalg.norm(out) > 0.1:
        return None
    out = out / np.linalg.norm(out)
    pull = _most(load, np.append(out, np.zeros(3)), cone, scale)
    if pull is None:
        return None
    twists = [(_most(load, np.append(np.zeros(3), a), cone, scale), a) for a in _across(out)]
    torque, axis = min(((np.inf if t is None else t, a) for t, a in twists), key=lambda x: x[0])
    names = tuple(constraints.system.bodies[i].name for i in np.unique(limits.other))
    return PullOff(pull, out, torque, axis, names)


def _generators(limits: Limits, place: Place) -> Array:
    """Wrenches (6, k) that contacts and taut strings can give, about the centre of mass."""
    rows = []
    for point, normal, mu in zip(limits.point, limits.normal, limits.friction, strict=True):
        one = np.cross(normal, np.eye(3)[np.argmin(np.abs(normal))])
        one = one / np.linalg.norm(one)
        two = np.cross(normal, one)
        for turn in 2 * np.pi * np.arange(EDGES) / EDGES:
            push = normal + mu * (np.cos(turn) * one + np.sin(turn) * two)
            rows.append(np.append(push, np.cross(point - place.position, push)))
    rows += list(limits.jacobian[len(limits.other) :])
    rows += [sign * row for row in limits.equality for sign in (1.0, -1.0)]
    return np.array(rows).T


def _across(normal: Array) -> Array:
    """Unit vectors (AXES, 3) across `normal`."""
    one = np.cross(normal, np.eye(3)[np.argmin(np.abs(normal))])
    one = one / np.linalg.norm(one)
    turn = 2 * np.pi * np.arange(AXES)[:, None] / AXES
    return np.asarray(np.cos(turn) * one + np.sin(turn) * np.cross(normal, one))


def _most(load: Array, hand: Array, cone: Array, scale: Array) -> float | None:
    """The largest f; infinity where there is no limit, None where it rests for no f."""
    size = float(np.linalg.norm(scale * load)) or 1.0
    cost = np.zeros(cone.shape[1] + 1)
    cost[0] = -1.0
    matrix = scale[:, None] * np.column_stack([hand, cone])
    found = linprog(cost, A_eq=matrix, b_eq=-scale * load / size, method="highs")
    if found.status == 3:
        return float("inf")
    if found.status != 0 or found.x is None:
        return None
    return max(0.0, float(size * found.x[0]))
