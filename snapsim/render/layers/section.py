"""Soft parts cut open: the half toward the eye left away, cells coloured by their polarisation.

The cut goes through the part's centre along a plane of its own axes, the one whose normal points
most toward the camera over the run, and moves with the part. Colours are those of the glow: |J|
over the material's own saturation.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import pyvista as pv
from matplotlib.colors import ListedColormap

from snapsim.arrays import Array, IntArray
from snapsim.magnetics.cells import mesh as cells_of
from snapsim.numerics import rotations
from snapsim.parts.bodies import Body
from snapsim.render import ember
from snapsim.render.actors import pose_matrix
from snapsim.render.camera import CameraView
from snapsim.render.interpolation import Moment
from snapsim.render.layers.contract import Note
from snapsim.render.layers.glow import shares, unknown
from snapsim.simulation.trajectory import Trajectory

HEXAHEDRON = 12


class SectionLayer:
    """The soft bodies of a run whose cells are known, cut for a view along `axes` (3, 3)."""

    def __init__(self, plotter: Any, run: Trajectory, axes: Array) -> None:
        self.reach, self._bodies = np.zeros((0, 3)), run.system.bodies
        self._parts: dict[int, tuple[str, pv.PolyData, IntArray, Any]] = {}
        for i, body in enumerate(run.system.bodies):
            if body.is_soft and body.name in run.cells:
                normal = facing(run.quaternion[:, i], axes[2])
                self._add(plotter, i, body, str(run.system.detail), normal)

    @property
    def bodies(self) -> Sequence[int]:
        """Numbers of the bodies that are cut, to be drawn in place of their whole selves."""
        return tuple(self._parts)

    def _add(self, plotter: Any, number: int, body: Body, detail: str, normal: Array) -> None:
        half, cells = half_of(body, detail, normal)
        half.cell_data["polarisation"] = np.zeros(half.n_cells)
        actor = plotter.add_mesh(
            half,
            scalars="polarisation",
            cmap=ListedColormap(ember.TABLE),
            clim=(0.0, 1.0),
            show_scalar_bar=False,
            lighting=False,
            reset_camera=False,
        )
        self._parts[number] = body.name, half, cells, actor

    def show(self, moment: Moment, view: CameraView) -> None:
        """Colour the cells by the moment's polarisation."""
        for i, (name, half, cells, actor) in self._parts.items():
            share = shares(self._bodies[i], moment.magnetisation[name])
            half.cell_data["polarisation"] = np.where(np.isfinite(share), share, 0.0)[cells]
            actor.user_matrix = pose_matrix(moment.position[i], moment.quaternion[i])

    def notes(self, moment: Moment) -> list[Note]:
        """Which magnetisation is not known; else none, as the colours have a key."""
        return unknown(moment, {i: self._bodies[i] for i in self._parts})


def facing(quaternion: Array, back: Array) -> Array:
    """Return the signed body axis (3,) that points most toward the viewer over poses (k, 4)."""
    toward = rotations.rotate_back(quaternion, np.broadcast_to(back, (len(quaternion), 3)))
    mean = toward.mean(axis=0)
    axis = int(np.argmax(np.abs(mean)))
    found: Array = np.sign(mean[axis] or 1.0) * np.eye(3)[axis]
    return found


def half_of(body: Body, detail: str, normal: Array) -> tuple[pv.PolyData, IntArray]:
    """Return the surface of the half behind the cut, and the cell that each face belongs to."""
    mesh = cells_of(body.shape, detail)
    grid = pv.UnstructuredGrid(
        np.column_stack([np.full(len(mesh.cells), 8), mesh.cells]).ravel(),
        np.full(len(mesh.cells), HEXAHEDRON),
        mesh.corners,
    )
    grid.cell_data["cell"] = np.arange(len(mesh.cells))
    kept = grid.clip(normal=tuple(normal), origin=(0, 0, 0), invert=True)
    surface = kept.extract_surface(algorithm=None).triangulate()
    return surface, np.asarray(surface.cell_data["cell"], dtype=np.int64)
