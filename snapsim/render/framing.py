"""Which points the camera must hold: every moving part over the whole run, and what it moves near.

A body that is fixed and large beside the action (table, wall) is held only where it lies within
a little of the action; it is drawn whole and may run out of the picture. A part that flies
off further than `REACH` sizes of the opening scene is followed only that far.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from snapsim.arrays import Array
from snapsim.mechanics.joints import WORLD
from snapsim.numerics import rotations
from snapsim.parts.bodies import Body
from snapsim.simulation.system import System

REACH = 4.0
JOINT_ROOM = 0.16  # of a handle outside the part it holds, as a share of the action's size
BESIDE = 0.04  # share of the action's size to which fixed things beside it are held


@dataclass(frozen=True)
class Action:
    """What happens where: `held` (m, 3) points to keep in view, `swept` (k, 3) points of moving
    bodies, `centre` (3,) and `size` [m] of the held region, `path` (s, 3) of the leading part,
    `joined` (j, 3) points round the ends of joints."""

    held: Array
    swept: Array
    centre: Array
    size: float
    path: Array
    joined: Array = field(default_factory=lambda: np.zeros((0, 3)))

    @property
    def redrawn(self) -> Array:
        """Every point that a moving thing may reach: bodies, strings, handles (n, 3)."""
        return np.concatenate([self.swept, self.joined])


def corners(body: Body, position: Array, quaternion: Array) -> Array:
    """Return the corners (8 k, 3) of a body's box, world axes, at poses (k, 3) and (k, 4)."""
    signs = np.stack(np.meshgrid([-1, 1], [-1, 1], [-1, 1], indexing="ij"), axis=-1).reshape(-1, 3)
    turned = rotations.matrix(quaternion)[:, None] @ (signs * body.shape.extents)[None, ..., None]
    found: Array = (position[:, None] + turned[..., 0]).reshape(-1, 3)
    return found


def around(points: Array, room: float, most: int = 4000) -> Array:
    """Return corners of cubes of half size `room` [m] round points (n, 3), `most` of them."""
    ways = np.stack(np.meshgrid([-1, 1], [-1, 1], [-1, 1], indexing="ij"), axis=-1).reshape(-1, 3)
    few = points[:: max(1, len(points) // most)]
    found: Array = (few[:, None] + room * ways).reshape(-1, 3)
    return found


def leading_part(system: System, velocity: Array) -> int | None:
    """Return the free body that gets fastest; `velocity` (k, n, 3); None when all are fixed."""
    free = [i for i, body in enumerate(system.bodies) if not body.fixed]
    if not free:
        return None
    top = np.linalg.norm(velocity, axis=-1).max(axis=0)
    return max(free, key=lambda i: (float(top[i]), -i))


def find_action(system: System, position: Array, quaternion: Array, part: int | None) -> Action:
    """Return what to hold in view for poses (k, n, 3) and (k, n, 4) of a run or a single moment."""
    free = [i for i, b in enumerate(system.bodies) if not b.fixed]
    fixed = [i for i, b in enumerate(system.bodies) if b.fixed]
    moving = {i: corners(system.bodies[i], position[:, i], quaternion[:, i]) for i in free}
    still = {i: corners(system.bodies[i], position[:1, i], quaternion[:1, i]) for i in fixed}
    opening = [moving[i][:8] for i in free]
    opening += [still[i] for i in fixed if system.bodies[i].is_magnet]
    opening = opening or list(still.values())
    low, high = _bounds(np.concatenate(opening))
    reach = REACH * float(np.linalg.norm(high - low))
    swept = np.concatenate([moving[i] for i in free] or opening)
    swept = np.clip(swept, low - reach, high + reach)
    held = [swept, *opening]
    core = np.concatenate(held)
    low, high = _bounds(core)
    span = float(np.linalg.norm(high - low))
    near = BESIDE * span
    held += [
        np.clip(c, low - near, high + near) for c in still.values() if _near(c, low, high, near)
    ]
    path = position[:, part] if part is not None else position[:1].mean(axis=1)
    joined = _joint_points(system, position, quaternion, JOINT_ROOM * span)
    joined = np.clip(joined, low - reach, high + reach)
    held.append(joined)
    return Action(np.concatenate(held), swept, (low + high) / 2, span, path, joined)


def _joint_points(system: System, position: Array, quaternion: Array, room: float) -> Array:
    """Return points (m, 3) round joints at poses (k, n, 3) and (k, n, 4): ends, the lowest points
    of slack strings, `room` [m] beside what hands hold."""
    found = [np.zeros((0, 3))]
    for joint in system.joints:
        first, second = (
            np.broadcast_to(point, position[:, 0].shape)
            if body == WORLD
            else position[:, body] + rotations.rotate(quaternion[:, body], point)
            for body, point in zip(joint.bodies, joint.points, strict=True)
        )
        found += [first, second]
        if joint.slack is not None:
            away = np.linalg.norm(first - second, axis=1)
            sag = 0.5 * np.sqrt(np.maximum(joint.slack**2 - away**2, 0.0))
            found.append(np.minimum(first, second) - sag[:, None] * [0.0, 0.0, 1.0])
        if joint.yields:
            reach = room + float(np.max(system.bodies[joint.bodies[0]].shape.extents))
            found += [first + reach * np.array(way) for way in _WAYS]
    return np.concatenate(found)


_WAYS = [(-1, 0, 0), (1, 0, 0), (0, -1, 0), (0, 1, 0)]


def _bounds(points: Array) -> tuple[Array, Array]:
    return points.min(axis=0), points.max(axis=0)


def _near(points: Array, low: Array, high: Array, margin: float) -> bool:
    a, b = _bounds(points)
    return bool(np.all(a <= high + margin) and np.all(b >= low - margin))
