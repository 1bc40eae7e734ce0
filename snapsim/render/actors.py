"""Bodies as actors: built once, then only moved by a matrix."""

from __future__ import annotations

from typing import Any

import numpy as np
import pyvista as pv

from snapsim.arrays import Array
from snapsim.numerics import rotations
from snapsim.parts.bodies import Body
from snapsim.render import bevel, cutaway, palette, poles
from snapsim.render.surfaces import GLOW, surface_actor

FINENESS = 96
EDGE_ANGLE = 35.0  # degrees between faces above which an edge is drawn
GRAZING = 0.22  # sine of the angle at which a letter is seen, below which it is left out
SIDES = 0.64  # how bright a table's sides are beside its lit top


class BodyActors:
    """All actors of one body; `move` sets their common pose, `face` turns to the eye."""

    def __init__(
        self,
        plotter: pv.Plotter,
        body: Body,
        quaternion: Array,
        line: float,
        *,
        glows: bool = False,
        table: bool = False,
        outline: bool = False,
        cut: Array | None = None,
    ) -> None:
        """`line` [pixels] is the width of edges; `glows`: iron that shows its magnetisation; a
        `table` has its top painted elsewhere; `outline`: a pale rim; `cut` (3,): the direction,
        in body axes, of the half that is left away."""
        self._actors: list[Any] = []
        self._letters: list[tuple[Array, Array, Any]] = []
        self._plotter = plotter
        corners, triangles = body.shape.surface(FINENESS)
        if cut is not None:
            corners, triangles = cutaway.halved(corners, triangles, cut)
        self.mesh = bevel.rounded(corners, triangles, bevel.setback_of(body.shape.extents))
        self._way = np.eye(3)[int(np.argmax(body.shape.extents))]
        look = palette.look_of(body.material)
        if body.is_magnet and body.magnetised is not None:
            self._add_magnet(body, quaternion)
        elif table:
            self._add_sides(palette.dimmed(look.colour, SIDES))
        else:
            if glows:
                self.mesh.point_data[GLOW] = np.zeros((self.mesh.n_points, 4), dtype=np.float32)
            self._add(self.mesh, look)
        if look.opacity < 1:
            self._add_edges(poles.poly(corners, triangles), look.colour, line)
        if outline and not body.fixed and look.opacity == 1:
            self._add_outline()

    def move(self, position: Array, quaternion: Array) -> None:
        """Bring the body to `position` (3,) [m] and `quaternion` (4,)."""
        matrix = pv.vtkmatrix_from_array(pose_matrix(position, quaternion))
        for actor in self._actors:
            actor.SetUserMatrix(matrix)

    def face(self, eye: Array, position: Array, quaternion: Array) -> None:
        """Show the letters on faces that are not seen too much from the side to be read."""
        for place, normal, actor in self._letters:
            toward = rotations.rotate_back(quaternion, eye - position) - place
            actor.SetVisibility(bool(toward @ normal > GRAZING * np.linalg.norm(toward)))

    def hide(self) -> None:
        """Draw nothing of the body, as something else stands for it."""
        for actor in self._actors:
            actor.SetVisibility(False)
        self._letters.clear()

    def _add(
        self,
        mesh: pv.PolyData,
        look: palette.MaterialLook,
        way: Array | None = None,
    ) -> None:
        actor = surface_actor(mesh, look, self._way if way is None else way)
        self._plotter.renderer.AddActor(actor)
        self._actors.append(actor)

    def _plain(self, mesh: pv.PolyData, colour: str, **given: Any) -> Any:
        actor: Any = self._plotter.add_mesh(mesh, color=colour, reset_camera=False, **given)
        self._actors.append(actor)
        return actor

    def _add_sides(self, colour: str) -> None:
        self._plain(self.mesh, colour, ambient=0.10, diffuse=0.42)

    def _add_magnet(self, body: Body, quaternion: Array) -> None:
        """Two halves of nickel, and letters, which stand upright in the opening pose."""
        assert body.magnetised is not None
        m = body.magnetised
        for sign, look in ((-1, palette.MAGNET), (1, palette.MAGNET_SOUTH)):
            half = self.mesh.clip(normal=tuple(sign * m), origin=(0, 0, 0)).triangulate()
            normals = np.asarray(half.point_data["Normals"])
            lengths = np.linalg.norm(normals, axis=1, keepdims=True)
            self._add(bevel.with_normals(half, normals / np.maximum(lengths, 1e-9)), look, m)
        north, south = poles.halves(*body.shape.surface(FINENESS), m)
        up = rotations.rotate_back(quaternion, np.array([0.0, 0.0, 1.0]))
        for half, way, letter, colour in (
            (north, m, "N", palette.NORTH_LETTER),
            (south, -m, "S", palette.SOUTH_LETTER),
        ):
            for mesh in poles.place_letters(half, way, up, [poles.letter_outline(letter)])[0]:
                actor = self._plain(mesh, colour, lighting=False)
                normal = np.asarray(mesh.point_normals, dtype=np.float64).mean(axis=0)
                middle = np.asarray(mesh.points, dtype=np.float64).mean(axis=0)
                self._letters.append((middle, normal / np.linalg.norm(normal), actor))

    def _add_edges(self, mesh: pv.PolyData, colour: str, line: float) -> None:
        """What is see-through shows by its edges."""
        edges = mesh.extract_feature_edges(
            feature_angle=EDGE_ANGLE, boundary_edges=False, manifold_edges=False
        )
        if edges.n_cells:
            self._plain(edges, colour, line_width=line, lighting=False, opacity=0.55)

    def _add_outline(self) -> None:
        """A pale rim round a moving part: its back faces, blown up a little, unlit."""
        size = float(np.linalg.norm(np.ptp(self.mesh.points, axis=0)))
        hull = self.mesh.copy()
        hull.points = hull.points + 0.008 * size * np.asarray(hull.point_data["Normals"])
        self._plain(hull, palette.OUTLINE, lighting=False, culling="front")


def pose_matrix(position: Array, quaternion: Array) -> Array:
    """Return the homogeneous matrix (4, 4) of a pose."""
    matrix = np.eye(4)
    matrix[:3, :3] = rotations.matrix(quaternion)
    matrix[:3, 3] = position
    return matrix
