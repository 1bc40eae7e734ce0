"""How a part lies where it is: which way up, on what, where under a magnet; facts for `words.lies`.

    a = angle between the part's telling axis and the normal of the surface it lies on

The telling axis is the short one of a plate, the long one of a rod; a compact part (a ball, a nut
as high as wide) has none. Offsets are taken across that normal from the magnet's middle [m], and as
a share of the magnet's half size there.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import StrEnum

import numpy as np

from snapsim.arrays import Array
from snapsim.landscape.constraints import Constraints, Limits
from snapsim.landscape.place import Place
from snapsim.numerics import rotations
from snapsim.parts.bodies import Body
from snapsim.parts.shapes import Revolution
from snapsim.parts.states import Pose
from snapsim.simulation.system import System

LYING = 1e-5
"""Gap [m] up to which the part lies on a body."""

STRAIGHT = np.radians(5.0)
"""Angle [rad] within which an axis counts as along or across."""

ALIKE = np.cos(STRAIGHT)
"""Cosine from which normals of contacts count as one."""

TELLING = 1.4
"""Ratio of sizes from which a part is a plate or a rod."""

MIDDLE, RIM = 0.1, 0.5
"""Shares of the magnet's half size up to which it is the middle and from which it is the rim."""


class Attitude(StrEnum):
    """Which way up a part is."""

    FLAT = "flat"
    ON_EDGE = "on edge"
    ON_END = "on end"
    ON_SIDE = "on its side"
    LEANING = "leaning"
    COMPACT = "compact"
    """No axis tells."""


class LieSide(StrEnum):
    """Where the part is, seen from the body that it lies on."""

    UNDER = "under"
    ON_TOP = "on top of"
    BESIDE = "at the side of"


@dataclass(frozen=True)
class Lie:
    """How body `body` lies, by names: the `magnet` it touches ("" for none) on which `side`,
    `offset` [m] and `share` of the half size; `others` that it touches, iron left out; `facing`,
    iron whose flat face lies on its own, and `beside`, iron that it touches otherwise; `joints`
    that hold it. `attitude`, and `axis` [rad], the angle of the telling axis (of a compact part its
    z axis) from the vertical."""

    body: str
    attitude: Attitude
    axis: float
    magnet: str
    side: LieSide
    offset: float
    share: float
    others: tuple[str, ...]
    facing: tuple[str, ...]
    beside: tuple[str, ...]
    joints: tuple[str, ...]


def lie(system: System, body: int, pose: Pose, within: float = LYING) -> Lie:
    """Return how a body lies in a pose of all bodies."""
    constraints = Constraints(_posed(system, pose), body)
    place = Place(pose.position[body], pose.quaternion[body])
    limits = constraints.limits(place, within)
    touched = sorted({int(i) for i in limits.other})
    part = system.bodies[body]
    magnets = [i for i in touched if _draws(part, system.bodies[i]) and system.bodies[i].is_magnet]
    main = magnets[0] if magnets else (touched[0] if touched else None)
    normal = _normal(limits, main)
    direction, rod = telling_axis(part)
    axis = rotations.rotate(place.quaternion, direction)
    iron = [i for i in touched if system.bodies[i].is_soft]
    facing = [i for i in iron if _facing(system, pose, limits, i, axis)]
    others = [i for i in touched if i not in magnets[:1] and i not in iron]
    return Lie(
        part.name,
        _attitude(part, axis, normal, rod),
        float(np.arccos(min(1.0, abs(float(axis[2]))))),
        system.bodies[magnets[0]].name if magnets else "",
        *_where(system, pose, body, main, normal),
        _names(system, others),
        _names(system, facing),
        _names(system, [i for i in iron if i not in facing]),
        _holding(system, constraints, limits),
    )


def _names(system: System, numbers: Sequence[int]) -> tuple[str, ...]:
    return tuple(system.bodies[i].name for i in numbers)


def _posed(system: System, pose: Pose) -> System:
    """The system with all bodies where they are now."""
    return replace(system, start=replace(system.start, pose=pose))


def _draws(part: Body, other: Body) -> bool:
    return other.is_magnet or (part.is_magnet and other.is_soft)


def telling_axis(part: Body) -> tuple[Array, bool]:
    """Return the axis (3,) in body axes that tells which way up a part is, and whether it is the
    long one of a rod; z for a compact part."""
    if part.shape.revolution is Revolution.AXIS:
        long = part.shape.extents[2] > part.shape.extents[:2].max()
        return np.array([0.0, 0.0, 1.0]), bool(long)
    size = part.shape.extents
    order = np.argsort(size)
    low, middle, high = size[order]
    rod = bool(high * low > middle * middle)
    if max(high / middle, middle / low) < TELLING:
        return np.array([0.0, 0.0, 1.0]), False
    return np.eye(3)[order[2] if rod else order[0]], rod


def _attitude(part: Body, axis: Array, normal: Array | None, rod: bool) -> Attitude:
    size = np.sort(part.shape.extents)
    ratio = max(size[2] / size[1], size[1] / size[0])
    if part.shape.revolution is Revolution.CENTRE or ratio < TELLING:
        return Attitude.COMPACT
    against = np.array([0.0, 0.0, 1.0]) if normal is None else normal
    angle = float(np.arccos(min(1.0, abs(float(axis @ against)))))
    if angle < STRAIGHT:
        return Attitude.ON_END if rod else Attitude.FLAT
    if angle > np.pi / 2 - STRAIGHT:
        return Attitude.ON_SIDE if rod else Attitude.ON_EDGE
    return Attitude.LEANING


def _normal(limits: Limits, main: int | None) -> Array | None:
    """The normal (3,) into the part that most contacts share at the body that it lies on, the mean
    of all where none has the most."""
    if main is None:
        return None
    normal = limits.normal[limits.other == main]
    alike = (normal @ normal.T > ALIKE).sum(axis=1)
    mean = normal[alike == alike.max()].mean(axis=0)
    size = float(np.linalg.norm(mean))
    found: Array = mean / size if size > 1e-9 else normal[0]
    return found


def _where(
    system: System, pose: Pose, body: int, main: int | None, normal: Array | None
) -> tuple[LieSide, float, float]:
    """LieSide of the body lain on, offset [m] across the normal, and its share of the half size;
    on top, and none, where nothing is lain on."""
    if main is None or normal is None:
        return LieSide.ON_TOP, 0.0, 0.0
    gravity = system.gravity
    size = float(np.linalg.norm(gravity))
    rise = -gravity / size if size > 0 else np.array([0.0, 0.0, 1.0])
    lift = float(normal @ rise)
    side = LieSide.UNDER if lift < -0.7 else LieSide.ON_TOP if lift > 0.7 else LieSide.BESIDE
    away = pose.position[body] - pose.position[main]
    away = away - (away @ normal) * normal
    local = np.abs(rotations.rotate_back(pose.quaternion[main], away))
    share = float((local / system.bodies[main].shape.extents).max())
    return side, float(np.linalg.norm(away)), share


def _facing(system: System, pose: Pose, limits: Limits, other: int, axis: Array) -> bool:
    """Whether a flat face of another part lies on this one's."""
    theirs, _ = telling_axis(system.bodies[other])
    their_axis = rotations.rotate(pose.quaternion[other], theirs)
    normal = _normal(limits, other)
    straight = np.cos(STRAIGHT)
    return normal is not None and bool(
        abs(axis @ normal) > straight and abs(their_axis @ normal) > straight
    )


def _holding(system: System, constraints: Constraints, limits: Limits) -> tuple[str, ...]:
    """Names of strings that are taut and of joints that hold."""
    slack = limits.gap[len(limits.other) :]
    taut = {int(j) for j, gap in zip(limits.joint, slack, strict=True) if gap < LYING}
    held = {i for i, _ in constraints.joints if i not in set(limits.joint.tolist())}
    return tuple(system.joints[j].name for j in sorted(taut | held))
