"""The gap at each place where a hand could be, along a run.

At every stored frame, the signed distance from the place (a face, a point) to the nearest body that
can close on it: not the one it is on, and not where neither of the two moves. Exact for the shapes,
by the contact geometry; between frames it is not looked at.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from snapsim.arrays import Array, IntArray
from snapsim.mechanics.contact import ContactGeometry
from snapsim.numerics import rotations
from snapsim.parts.bodies import Body
from snapsim.parts.materials import Material
from snapsim.parts.shapes import Box
from snapsim.parts.states import Pose
from snapsim.parts.surfaces import SurfacePair, SurfaceRules
from snapsim.simulation.system import Hand, System
from snapsim.simulation.trajectory import Trajectory


@dataclass(frozen=True)
class Gaps:
    """Of one hand: `gap` (k,) [m] at the frames, to the body numbered `nearest` (k,) there."""

    hand: Hand
    gap: Array
    nearest: IntArray


def hand_gaps(run: Trajectory) -> tuple[Gaps, ...]:
    """Return the gap at each hand of the scene over the frames of a run; nan where none closes."""
    given = run.system, run.position, run.quaternion
    return tuple(Gaps(hand, *_gaps(hand, *given)) for hand in run.system.hands)


def hand_gaps_as_placed(system: System) -> tuple[Gaps, ...]:
    """Return the same of a scene before release, one frame."""
    pose = system.start.pose
    given = system, pose.position[None], pose.quaternion[None]
    return tuple(Gaps(hand, *_gaps(hand, *given)) for hand in system.hands)


def closing_time(time: Array, gap: Array, size: float) -> float:
    """Return when a gap (k,) [m] first closes from above `size` to it [s], between frames linearly.

    Nan where it never does, or is no wider at the start.
    """
    if not len(gap) or not gap[0] > size:
        return math.nan
    below = np.flatnonzero(gap <= size)
    if not len(below):
        return math.nan
    k = int(below[0])
    share = (gap[k - 1] - size) / (gap[k - 1] - gap[k])
    return float(time[k - 1] + share * (time[k] - time[k - 1]))


def _gaps(hand: Hand, system: System, position: Array, quaternion: Array) -> tuple[Array, IntArray]:
    own = None if hand.body is None else system.number(hand.body)
    held = own is None or system.bodies[own].fixed
    others = [i for i, b in enumerate(system.bodies) if i != own and not (held and b.fixed)]
    if not others:
        return np.full(len(position), np.nan), np.full(len(position), -1)
    geometry = ContactGeometry(
        (_place(hand), *(_held(system, i) for i in others)), SurfaceRules(SurfacePair())
    )
    found, nearest = np.empty(len(position)), np.empty(len(position), dtype=np.int64)
    for k in range(len(position)):
        point, turn = hand_place(hand, system, position[k], quaternion[k])
        pose = Pose(
            np.vstack([point, position[k, others]]),
            np.vstack([turn, quaternion[k, others]]),
        )
        gaps = geometry.gaps(pose)
        closest = int(gaps.argmin())
        found[k], nearest[k] = gaps[closest], others[closest]
    return found, nearest


def hand_place(
    hand: Hand, system: System, position: Array, quaternion: Array
) -> tuple[Array, Array]:
    """Return point (3,) [m] and quaternion (4,) of a hand's place in a pose of all bodies."""
    if hand.body is None:
        return hand.point, rotations.IDENTITY
    own = system.number(hand.body)
    turn: Array = quaternion[own]
    return position[own] + rotations.rotate(turn, hand.point), turn


def _place(hand: Hand) -> Body:
    """What stands for the hand's place; free, so that every other body makes a pair with it."""
    shape = Box((2 * hand.span[0], 2 * hand.span[1], 2 * hand.span[2]))
    return Body(hand.name, shape, Material("hand", 1.0), None, False)


def _held(system: System, number: int) -> Body:
    body = system.bodies[number]
    return Body(body.name, body.shape, body.material, body.magnetised, True)
