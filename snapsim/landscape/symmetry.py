"""What makes no difference: spin of a part of revolution, and copies by the scene's symmetry.

Two places of one body are the same where they differ by a symmetry of its shape; they are copies
where one of the scene's mirror planes or rotations takes one to the other,

    x' = c + S (x - c),      R' = S R P,      det P = det S

S a rotation or reflection (3, 3) about the centre c of the magnets, P one of the shape. Which S the
scene has is not deduced but found: the image must have the same energy and the same gaps.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from snapsim.arrays import Array
from snapsim.landscape.place import Place
from snapsim.numerics import rotations
from snapsim.parts.bodies import Body
from snapsim.parts.shapes import Revolution


def spins_freely(body: Body) -> bool:
    """True for a body of revolution that is no magnet across its axis."""
    along = body.magnetised is None or bool(np.hypot(*body.magnetised[:2]) < 1e-9)
    return body.shape.revolution is Revolution.AXIS and along


def turns_freely(body: Body) -> bool:
    """True for a ball that is no magnet."""
    return body.shape.revolution is Revolution.CENTRE and body.magnetised is None


def idle_directions(body: Body) -> Callable[[Place], Array] | None:
    """Return the turns (j, 6) that leave the body as it is, as a function of its place."""
    if turns_freely(body):
        rows = np.hstack([np.zeros((3, 3)), np.eye(3)])
        return lambda place: rows
    if spins_freely(body):
        return lambda place: np.concatenate([np.zeros(3), axis_of(place)])[None]
    return None


def unspun(body: Body, place: Place) -> Place:
    """Return the same place with the least turn that a free spin allows: cells then lie alike."""
    if turns_freely(body):
        return Place(place.position, rotations.IDENTITY)
    if not spins_freely(body):
        return place
    axis = axis_of(place)
    q = np.array([1.0 + axis[2], -axis[1], axis[0], 0.0])
    upside_down = np.array([0.0, 1.0, 0.0, 0.0])
    return Place(place.position, rotations.normalise(q) if axis[2] > 1e-9 - 1 else upside_down)


def axis_of(place: Place) -> Array:
    """Return the body's z axis (3,) in world axes."""
    axis: Array = rotations.matrix(place.quaternion)[:, 2]
    return axis


def shape_symmetries(body: Body) -> list[Array]:
    """Return rotations and reflections (3, 3), body axes, that leave the body as it is."""
    found = list(body.shape.symmetries)
    m = body.polar_axis
    if m is not None:  # magnetisation is an axial vector
        found = [s for s in found if np.allclose(np.linalg.det(s) * s @ m, m, atol=1e-9)]
    return found


def apart(body: Body, one: Place, other: Place, symmetries: list[Array]) -> float:
    """Return how far two places are from being the same [m]: offset plus turn times reach."""
    offset = float(np.linalg.norm(one.position - other.position))
    if turns_freely(body):
        return offset
    reach = float(np.linalg.norm(body.shape.extents))
    a, b = rotations.matrix(one.quaternion), rotations.matrix(other.quaternion)
    if spins_freely(body):
        cosine = float(a[:, 2] @ b[:, 2])
        flips = any(p[2, 2] < 0 < np.linalg.det(p) for p in symmetries)
        cosine = abs(cosine) if flips else cosine
        return offset + reach * float(np.sqrt(max(2 - 2 * cosine, 0.0)))
    turns = (p for p in symmetries if np.linalg.det(p) > 0)
    return offset + reach * min(float(np.linalg.norm(a @ p - b)) for p in turns) / 2**0.5


def image(place: Place, operation: Array, centre: Array, symmetries: list[Array]) -> Place | None:
    """Return the place that a rotation or reflection (3, 3) about `centre` takes this one to.

    None where the shape has no mirror plane to match a reflection.
    """
    handed = np.linalg.det(operation)
    match = next((p for p in symmetries if np.linalg.det(p) * handed > 0), None)
    if match is None:
        return None
    turn = operation @ rotations.matrix(place.quaternion) @ match
    return Place(centre + operation @ (place.position - centre), rotations_from(turn))


def rotations_from(matrix: Array) -> Array:
    """Return the quaternion (4,), scalar first, of a rotation matrix (3, 3)."""
    from scipy.spatial.transform import Rotation

    x, y, z, w = Rotation.from_matrix(matrix).as_quat()
    return np.array([w, x, y, z])
