"""A rig as plain data for its picture: what is seen of each body and hand from two sides [mm]."""

from __future__ import annotations

from typing import Any, Final

import numpy as np
from scipy.spatial import ConvexHull, QhullError

from snapsim.arrays import Array, IntArray
from snapsim.numerics import rotations
from snapsim.parts.bodies import Body
from snapsim.simulation.stray_field import magnets_centre
from snapsim.simulation.system import Hand, System

VIEWS: Final = {"front": (0, 2), "above": (0, 1)}
"""World axes to the right and up, by the name of the side that is looked from."""

FINENESS: Final = 24
MOST_FACES: Final = 600
"""A surface of more triangles is drawn by the hull of what is seen of it."""


def rig_views(system: System) -> dict[str, Any]:
    """Return JSON data: "bodies" with "name", "kind" (magnet, free, held), the triangles or outline
    seen from each side and the "poles" of a magnet, "hands" with "name", "gap_mm" and corners,
    "magnets_centre", from which the stray field's reach is told, seen from above."""
    centre = magnets_centre(system)
    pose = system.start.pose
    places = {b.name: (pose.position[i], pose.quaternion[i]) for i, b in enumerate(system.bodies)}
    return {
        "bodies": [_body(b, *places[b.name]) for b in system.bodies],
        "hands": [_hand(h, *places.get(h.body or "", (np.zeros(3), np.eye(4)[0])))
                  for h in system.hands],
        "magnets_centre": None if centre is None else _millimetres(centre[None, :2])[0],
    }  # fmt: skip


def _body(body: Body, position: Array, quaternion: Array) -> dict[str, Any]:
    corners, faces = body.shape.surface(FINENESS)
    world = position + rotations.rotate(quaternion[None], corners)
    found: dict[str, Any] = {"name": body.name, "kind": _kind(body)}
    for view, axes in VIEWS.items():
        found[view] = [_millimetres(p) for p in _seen(world[:, axes], faces)]
    if body.is_magnet and body.magnetised is not None:
        north = rotations.rotate(quaternion, body.magnetised)
        half = 0.6 * float(np.abs(body.magnetised) @ body.shape.extents)
        poles = position + np.array([[half], [-half]]) * north
        found["poles"] = {view: _millimetres(poles[:, axes]) for view, axes in VIEWS.items()}
    return found


def _kind(body: Body) -> str:
    if body.is_magnet:
        return "magnet"
    return "held" if body.fixed else "free"


def _hand(hand: Hand, position: Array, quaternion: Array) -> dict[str, Any]:
    signs = np.array(np.meshgrid(*[(-1, 1)] * 3)).reshape(3, -1).T
    corners = position + rotations.rotate(quaternion[None], hand.point + signs * hand.span)
    return {"name": hand.name, "gap_mm": 1e3 * hand.gap} | {
        view: [_millimetres(p) for p in _hull(corners[:, axes])] for view, axes in VIEWS.items()
    }


def _seen(flat: Array, faces: IntArray) -> list[Array]:
    """Triangles (3, 2) that are not seen on edge, or one outline (k, 2)."""
    if len(faces) > MOST_FACES:
        return _hull(flat)
    shown = flat[faces]
    side, other = shown[:, 1] - shown[:, 0], shown[:, 2] - shown[:, 0]
    area = side[:, 0] * other[:, 1] - side[:, 1] * other[:, 0]
    return list(shown[area > 1e-12])  # each place of a closed surface is seen once from the front


def _hull(flat: Array) -> list[Array]:
    try:
        return [flat[ConvexHull(flat).vertices]]
    except (QhullError, ValueError):  # a line or a point
        low, high = flat.min(axis=0), flat.max(axis=0)
        return [np.array([low, high])]


def _millimetres(points: Array) -> list[list[float]]:
    found: list[list[float]] = np.round(1e3 * points, 1).tolist()
    return found
