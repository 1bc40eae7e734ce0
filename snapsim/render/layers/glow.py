"""Iron that glows by its magnetisation: |J| over the material's own saturation, as `ember` has it.

Polarisation J = mu_0 M [T] (IEC 60050-121, 121-11-54; from memory) is known in cells; at the points
of the drawn surface it is the mean of the nearest cells', weighted by the inverse square of their
distance. A magnetisation that is no number leaves the part bare, and is told in words.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pyvista as pv
from scipy.sparse import csr_array
from scipy.spatial import cKDTree

from snapsim.arrays import Array
from snapsim.constants import MU_0
from snapsim.parts.bodies import Body
from snapsim.render import ember, palette
from snapsim.render.camera import CameraView
from snapsim.render.interpolation import Moment
from snapsim.render.layers.contract import Note
from snapsim.render.surfaces import GLOW
from snapsim.simulation.trajectory import Trajectory

NEAREST = 8
UNKNOWN = "magnetisation unknown"


class Glow:
    """The soft bodies of a run whose cells are known; `meshes` are their drawn surfaces."""

    def __init__(self, run: Trajectory, meshes: dict[int, pv.PolyData]) -> None:
        self.reach = np.zeros((0, 3))
        bodies = run.system.bodies
        self._parts = {
            i: (bodies[i], mesh, spread_of(run.cells[bodies[i].name].position, mesh.points))
            for i, mesh in meshes.items()
        }

    def show(self, moment: Moment, view: CameraView) -> None:
        """Bring the colours to a moment."""
        for body, mesh, spread in self._parts.values():
            share = shares(body, moment.magnetisation[body.name])
            known = bool(np.all(np.isfinite(share)))
            at = spread @ (share if known else np.zeros(len(share)))
            cover = ember.cover(at)[:, None]
            mesh.point_data[GLOW] = np.hstack([ember.colours(at), cover]).astype(np.float32)

    def notes(self, moment: Moment) -> list[Note]:
        """Which magnetisation is not known."""
        return unknown(moment, {i: part[0] for i, part in self._parts.items()})


def glowing(run: Trajectory) -> list[int]:
    """Return the numbers of the soft bodies whose magnetisation a run tells."""
    return [i for i, b in enumerate(run.system.bodies) if b.is_soft and b.name in run.cells]


def unknown(moment: Moment, bodies: dict[int, Body]) -> list[Note]:
    """Return a note at each body whose magnetisation at a moment is no number."""
    lost = [i for i, b in bodies.items() if not np.all(np.isfinite(moment.magnetisation[b.name]))]
    return [Note(UNKNOWN, moment.position[i], palette.HAND_CLOSED) for i in lost]


def shares(body: Body, magnetisation: Array) -> Array:
    """Return |J| over the material's saturation (c,) of magnetisation (c, 3) [A/m]."""
    found: Array = MU_0 * np.linalg.norm(magnetisation, axis=1) / saturation_of(body)
    return found


def saturation_of(body: Body) -> float:
    """Return the polarisation [T] at which a soft body's material is full: as its curve says, or
    the greatest B - mu_0 H of its table; 2 T where it has neither, as a linear one."""
    curve = body.material.curve
    if curve is not None and curve.saturation:
        return float(curve.saturation)
    if curve is not None and len(curve.flux_density):
        return float(np.max(curve.flux_density - MU_0 * np.asarray(curve.field_strength)))
    return 2.0


def spread_of(cells: Array, points: Array | Sequence[Array]) -> csr_array:
    """Return the matrix (points, cells) that takes values in cells to points (n, 3) [m]."""
    near = min(NEAREST, len(cells))
    found = cKDTree(cells).query(np.asarray(points), k=near)
    away, which = (np.asarray(each).reshape(-1, near) for each in found)
    weight = 1 / np.maximum(away, 1e-4) ** 2
    weight /= weight.sum(axis=1, keepdims=True)
    rows = np.repeat(np.arange(len(away)), near)
    return csr_array((weight.ravel(), (rows, which.ravel())), shape=(len(away), len(cells)))
