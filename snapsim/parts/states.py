"""The state of all bodies at one moment: what changes in a run."""

from __future__ import annotations

from dataclasses import dataclass

from snapsim.arrays import Array


@dataclass(frozen=True)
class Pose:
    """Where n bodies are: `position` (n, 3) of the centres of mass [m], world axes, and
    `quaternion` (n, 4), unit, scalar first, body to world."""

    position: Array
    quaternion: Array


@dataclass(frozen=True)
class State:
    """A pose and its motion: `velocity` (n, 3) [m/s] and `spin` (n, 3) [rad/s], world axes."""

    pose: Pose
    velocity: Array
    spin: Array
