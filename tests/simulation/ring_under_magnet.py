"""Poses of the three bodies of the fixture `bodies`: a block magnet, a ring under it, a table."""

import numpy as np

from snapsim.numerics import rotations
from snapsim.parts.states import Pose


def pose_of(x, turn):
    """The scene's pose with the ring at `x` (3,), turned by a rotation vector (3,)."""
    position = np.array([[0, 0, 0.015], x, [0, 0, -0.2]], dtype=float)
    quaternion = np.array([rotations.IDENTITY] * 3)
    quaternion[1] = rotations.from_rotation_vector(turn)
    return Pose(position, quaternion)


def near(rng, spread):
    """A random pose of the ring some `spread` from a place under the magnet."""
    return pose_of(
        np.array([0.01, 0.0, -0.05]) + rng.normal(0, spread, 3),
        np.array([0.3, 0.9, 0.1]) + rng.normal(0, spread / 0.02, 3),
    )
