"""Bodies as actors: built once, then only moved by a matrix."""

from __future__ import annotations

from typing import Any

import numpy as np
import pyvista as pv

from snapsim.arrays import Array
from snapsim.numerics import rotations
from snapsim.parts.bodies import Body
from snapsim.render import palette, poles

FINENESS = 96
EDGE_ANGLE = 35.0  # degrees between faces above which an edge is drawn


class BodyActors:
    """All actors of one body; `move` sets their common pose."""

    def __init__(
        self, plotter: pv.Plotter, body: Body, quaternion: Array, line: float, dim: float = 1.0
    ) -> None:
        self._dim = dim
        self._actors: list[Any] = []
        self._plotter = plotter
        corners, triangles = body.shape.surface(FINENESS)
        mesh = poles.poly(corners, triangles)
        if body.is_magnet and body.magnetised is not None:
            self._add_magnet(body, quaternion)
        else:
            self._add(poles.shaded(mesh), palette.look_of(body.material))
        self._add_edges(mesh, line)
        if not body.fixed and palette.look_of(body.material).opacity == 1:
            self._add_silhouette(mesh, line)

    def move(self, position: Array, quaternion: Array) -> None:
        """Bring the body to `position` (3,) [m] and `quaternion` (4,)."""
        matrix = pose_matrix(position, quaternion)
        for actor in self._actors:
            actor.user_matrix = matrix

    def hide(self) -> None:
        """Draw nothing of the body, as something else stands for it."""
        for actor in self._actors:
            actor.visibility = False

    def _add(
        self, mesh: pv.PolyData, look: palette.MaterialLook, colour: str | None = None
    ) -> None:
        actor = self._plotter.add_mesh(
            mesh,
            color=colour or palette.dimmed(look.colour, self._dim),
            specular=look.gloss,
            specular_power=look.sharpness,
            opacity=look.opacity,
            ambient=0.22,
            reset_camera=False,
        )
        actor.prop.interpolation = "Phong"  # the mesh brings its normals, sharp at its edges
        self._actors.append(actor)

    def _add_magnet(self, body: Body, quaternion: Array) -> None:
        """Two halves, hatch and letters; letters stand upright in the opening pose."""
        assert body.magnetised is not None
        m = body.magnetised
        look = palette.MAGNET
        corners, triangles = body.shape.surface(FINENESS)
        north, south = poles.halves(corners, triangles, m)
        ground, stripes = poles.hatched(south, m, poles.hatch_period(body.shape.extents))
        self._add(north, look, palette.NORTH)
        self._add(ground, look, palette.SOUTH)
        self._add(stripes, look, palette.SOUTH_HATCH)
        up = rotations.rotate_back(quaternion, np.array([0.0, 0.0, 1.0]))
        flat_n, flat_s, badge = (
            poles.letter_outline("N"),
            poles.letter_outline("S"),
            poles.badge_outline(),
        )
        (letters,) = poles.place_letters(north, m, up, [flat_n])
        badges, marks = poles.place_letters(south, -m, up, [badge, flat_s])
        for meshes, colour in (
            (letters, palette.NORTH_LETTER),
            (badges, palette.SOUTH),
            (marks, palette.SOUTH_LETTER),
        ):
            if meshes:
                self._add(pv.merge(meshes), look, colour)

    def _add_edges(self, mesh: pv.PolyData, line: float) -> None:
        edges = mesh.extract_feature_edges(
            feature_angle=EDGE_ANGLE, boundary_edges=False, manifold_edges=False
        )
        if edges.n_cells:
            self._actors.append(
                self._plotter.add_mesh(
                    edges,
                    color=palette.EDGE_DARK,
                    line_width=line,
                    lighting=False,
                    opacity=0.85,
                    reset_camera=False,
                )
            )

    def _add_silhouette(self, mesh: pv.PolyData, line: float) -> None:
        """A pale rim round a moving part: its back faces, blown up a little, unlit."""
        smooth = mesh.compute_normals(
            split_vertices=False, consistent_normals=False, auto_orient_normals=False
        )
        size = float(np.linalg.norm(np.ptp(mesh.points, axis=0)))
        hull = mesh.copy()
        hull.points = mesh.points + 0.008 * size * smooth.point_normals
        self._actors.append(
            self._plotter.add_mesh(
                hull,
                color=palette.OUTLINE,
                lighting=False,
                culling="front",
                reset_camera=False,
            )
        )


def pose_matrix(position: Array, quaternion: Array) -> Array:
    """Return the homogeneous matrix (4, 4) of a pose."""
    matrix = np.eye(4)
    matrix[:3, :3] = rotations.matrix(quaternion)
    matrix[:3, 3] = position
    return matrix
