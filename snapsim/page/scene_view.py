"""The scene as the browser draws it: each body's surface, edges and place, and where to look from.

Arrays travel as base64 of little-endian float32, uint32 and uint8. The look is that of the clips:
the same colours, pole marks and view (`snapsim.render`).
"""

from __future__ import annotations

import base64
from typing import Any

import numpy as np
import pyvista as pv

from snapsim.arrays import Array
from snapsim.mechanics.joints import Joint
from snapsim.numerics import rotations
from snapsim.parts.bodies import Body
from snapsim.render import palette, poles
from snapsim.render.actors import EDGE_ANGLE, FINENESS
from snapsim.render.camera import FIELD_OF_VIEW
from snapsim.render.framing import Action
from snapsim.render.joint_marks import MarkSizes, stroke_mesh
from snapsim.render.picture import action_of, choose_axes
from snapsim.render.stage import GRID_STEPS, find_receiver
from snapsim.simulation.system import System

ROOM = 1.12
"""Distance of the camera over the one from which the action just fits."""


def scene_view(system: System) -> dict[str, Any]:
    """Return what the browser needs to draw the scene as it is before release."""
    pose = system.start.pose
    action = action_of(system, pose)
    receiver = find_receiver(system, pose, action)
    axes = choose_axes(system, pose, action, None)
    sizes, back = MarkSizes(system, pose, action.size, axes), axes[2]
    return {
        "title": system.title,
        "bodies": [
            body_view(body, pose.position[i], pose.quaternion[i])
            for i, body in enumerate(system.bodies)
        ],
        "joints": [joint_view(joint, sizes) for joint in system.joints],
        "centre": action.centre.tolist(),
        "size": action.size,
        "distance": _distance(action),
        "azimuth": float(np.arctan2(back[1], back[0])),
        "elevation": float(np.arcsin(back[2])),
        "level": receiver.level,
        "colours": palette.DRAWN,
        "floor": None if receiver.table is not None else palette.FLOOR,
        "grid": min(GRID_STEPS, key=lambda step: abs(step - action.size / 12)),
    }


def joint_view(joint: Joint, sizes: MarkSizes) -> dict[str, Any]:
    """Return a joint's two ends, each a body's number (-1 the world) and a point in its frame; the
    `length` of a line between them; solids in the frames of the bodies that carry them."""
    solids: dict[int, list[tuple[pv.PolyData, str]]] = {}
    for stroke in sizes.strokes(joint):
        mesh = stroke_mesh(stroke).triangulate()  # tubes come as strips
        solids.setdefault(stroke.carrier, []).append((mesh, stroke.colour))
    return {
        "name": joint.name,
        "ends": [
            {"body": body, "point": np.asarray(point).tolist()}
            for body, point in zip(joint.bodies, joint.points, strict=True)
        ],
        "length": joint.slack,
        "colour": palette.STRING,
        "solids": [{"body": body, "mesh": packed(pieces)} for body, pieces in solids.items()],
    }


def body_view(body: Body, position: Array, quaternion: Array) -> dict[str, Any]:
    """Return one body: its coloured surface, edges, and rim where it moves."""
    look = palette.MAGNET if body.is_permanent else palette.look_of(body.material)
    plain = poles.poly(*body.shape.surface(FINENESS))
    clear = look.opacity < 1
    return {
        "name": body.name,
        "fixed": body.fixed,
        "magnet": body.is_magnet,
        "position": position.tolist(),
        "quaternion": quaternion.tolist(),
        "mesh": packed(_painted(body, plain, quaternion, look)),
        "edges": pack(_edges(plain), "f4"),
        "hull": None if body.fixed or clear else packed([(_smooth(plain), palette.OUTLINE)]),
        "gloss": look.gloss,
        "sharpness": look.sharpness,
        "opacity": look.opacity,
        "size": float(np.linalg.norm(np.ptp(plain.points, axis=0))),
    }


def _painted(
    body: Body, plain: pv.PolyData, quaternion: Array, look: palette.MaterialLook
) -> list[tuple[pv.PolyData, str]]:
    """The surface in pieces of one colour each; a magnet's with poles, hatch and letters."""
    if not body.is_magnet or body.magnetised is None:
        return [(poles.shaded(plain), look.colour)]
    m = body.magnetised
    north, south = poles.halves(*body.shape.surface(FINENESS), m)
    ground, stripes = poles.hatched(south, m, poles.hatch_period(body.shape.extents))
    up = rotations.rotate_back(quaternion, np.array([0.0, 0.0, 1.0]))
    (letters,) = poles.place_letters(north, m, up, [poles.letter_outline("N")])
    badges, marks = poles.place_letters(
        south, -m, up, [poles.badge_outline(), poles.letter_outline("S")]
    )
    pieces = [(north, palette.NORTH), (ground, palette.SOUTH), (stripes, palette.SOUTH_HATCH)]
    pieces += [(flat, palette.NORTH_LETTER) for flat in letters]
    pieces += [(flat, palette.SOUTH) for flat in badges]
    return pieces + [(flat, palette.SOUTH_LETTER) for flat in marks]


def _smooth(mesh: pv.PolyData) -> pv.PolyData:
    """One normal a corner, also at edges, so that a blown-up copy has no gaps."""
    found: pv.PolyData = mesh.compute_normals(
        split_vertices=False, consistent_normals=False, auto_orient_normals=False
    )
    return found


def _edges(mesh: pv.PolyData) -> Array:
    """Sharp edges as segments (s, 6); the equators of a body that has none."""
    found = mesh.extract_feature_edges(
        feature_angle=EDGE_ANGLE, boundary_edges=False, manifold_edges=False
    )
    if found.n_cells == 0:
        turn = 2 * np.pi * np.arange(73) / 72
        radius = float(np.abs(mesh.points).max())
        ring = radius * np.column_stack([np.cos(turn), np.sin(turn), 0 * turn])
        rings = [ring, ring[:, [2, 0, 1]], ring[:, [1, 2, 0]]]
        return np.concatenate([np.hstack([r[:-1], r[1:]]) for r in rings])
    pairs = found.lines.reshape(-1, 3)[:, 1:]
    return np.hstack([found.points[pairs[:, 0]], found.points[pairs[:, 1]]])


def packed(pieces: list[tuple[pv.PolyData, str]]) -> dict[str, str]:
    """Return pieces of one colour each as one mesh."""
    positions, normals, colours, order, count = [], [], [], [], 0
    for mesh, colour in pieces:
        positions.append(np.asarray(mesh.points))
        normals.append(np.asarray(mesh.point_normals))
        colours.append(np.tile(palette.rgb(colour), (mesh.n_points, 1)))
        order.append(np.asarray(mesh.regular_faces) + count)
        count += mesh.n_points
    return {
        "positions": pack(np.concatenate(positions), "f4"),
        "normals": pack(np.concatenate(normals), "f4"),
        "colours": pack(np.concatenate(colours), "u1"),
        "order": pack(np.concatenate(order), "u4"),
    }


def pack(values: Array, kind: str) -> str:
    """Return an array as base64 of little-endian numbers of a kind like "f4"."""
    return base64.b64encode(np.ascontiguousarray(values).astype(f"<{kind}").tobytes()).decode()


def _distance(action: Action) -> float:
    """How far the eye must be so that the ball round the action fits the shorter side."""
    radius = float(np.linalg.norm(action.held - action.centre, axis=1).max())
    return ROOM * radius / float(np.sin(np.radians(FIELD_OF_VIEW / 2)))
