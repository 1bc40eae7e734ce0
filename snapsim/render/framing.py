"""Which points the camera must hold: every moving part over the whole run, and what it moves near.

A body that is fixed and large beside the action (table, wall) is held only where it lies within
a little of the action; it is drawn whole and may run out of the picture. A part that flies
off further than `REACH` sizes of the opening scene is followed only that far.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from snapsim.arrays import Array
from snapsim.numerics import rotations
from snapsim.parts.bodies import Body
from snapsim.simulation.system import System

REACH = 4.0
BESIDE = 0.04  # share of the action's size to which fixed things beside it are held


@dataclass(frozen=True)
class Action:
    """What happens where: `held` (m, 3) points to keep in view, `swept` (k, 3) points of moving
    bodies, `centre` (3,) and `size` [m] of the held region, `path` (s, 3) of the leading part."""

    held: Array
    swept: Array
    centre: Array
    size: float
    path: Array


def corners(body: Body, position: Array, quaternion: Array) -> Array:
    """Return the corners (8 k, 3) of a body's box, world axes, at poses (k, 3) and (k, 4)."""
    signs = np.stack(np.meshgrid([-1, 1], [-1, 1], [-1, 1], indexing="ij"), axis=-1).reshape(-1, 3)
    turned = rotations.matrix(quaternion)[:, None] @ (signs * body.shape.extents)[None, ..., None]
    found: Array = (position[:, None] + turned[..., 0]).reshape(-1, 3)
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
    return Action(np.concatenate(held), swept, (low + high) / 2, span, path)


def _bounds(points: Array) -> tuple[Array, Array]:
    return points.min(axis=0), points.max(axis=0)


def _near(points: Array, low: Array, high: Array, margin: float) -> bool:
    a, b = _bounds(points)
    return bool(np.all(a <= high + margin) and np.all(b >= low - margin))
