"""Modes in which the currents of a conductor die away, and what a field does to them.

    a_k' = -a_k / tau_k - int J_k . E' dV,    energy = 1/2 sum a_k^2,    heat = sum a_k^2 / tau_k

J_k (p, 3) [A/m^2 per root joule] the current density of mode k at p points, a_k [root joule] how
much there is of it, tau_k [s] its time of relaxation, and -int J_k . E' dV the rate at which outer
fields would change its flux: with a magnet that moves by v relative to the conductor, the power of
the forces J_k x B. The modes are the eigenvectors of resistance against inductance (`network`,
`inductance`), so that they neither heat nor induce each other. Assumes: thin against a wave, no
displacement current, sigma even, no iron inside. Source of the eigenvalue problem: Knoepfel,
Magnetic Fields (2000), ch. 4 (from memory).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy.linalg import eigh, qr

from snapsim.arrays import Array
from snapsim.magnetics.conductors.inductance import Bricks, bricks_of, partial_inductances
from snapsim.magnetics.conductors.layout import ConductorCells
from snapsim.magnetics.conductors.network import network

FASTEST: Final = 1e-6
"""Relaxation time over the slowest, below which a mode is one of eddies within cells: no field
that cells can tell drives it."""


@dataclass(frozen=True, eq=False)
class CurrentModes:
    """Modes k of one conductor, body axes, slowest first: `time` (k,) [s], `density` (k, 3 c)
    [A/m^2 per root joule], x, y, z of each of c cells in turn, such that a field averaged over the
    cells by `points` (c, q, 3) [m] and `weights` (c, q) [m^3] drives them as the field itself does;
    `mean` (k, 3 c) the cells' mean densities, and their `bricks`."""

    time: Array
    density: Array
    points: Array
    weights: Array
    mean: Array
    bricks: Bricks

    @property
    def cells(self) -> int:
        """How many cells carry the currents."""
        return len(self.points)


def current_modes(cells: ConductorCells, conductivity: float) -> CurrentModes:
    """Return the modes of a body with these cells and an even conductivity [S/m]."""
    mesh = cells.mesh
    net = network(mesh, cells.uneven)
    loops = _loops(net.balance)
    density = net.density @ loops
    mutual = partial_inductances(mesh, cells.thin)
    linked = (mutual @ density.reshape(len(mutual), -1)).reshape(density.shape)
    inductance = density.T @ linked
    resistance = loops.T @ net.resistance @ loops / conductivity
    time, vectors = eigh(inductance, resistance)
    kept = np.flatnonzero(time > FASTEST * time.max(initial=0.0))[::-1]
    mean = density @ (vectors[:, kept] / np.sqrt(time[kept]))
    return CurrentModes(
        time[kept],
        np.ascontiguousarray(cells.sharpened(mean).T),
        mesh.points,
        mesh.weights * mesh.volume[:, None],
        np.ascontiguousarray(mean.T),
        bricks_of(mesh, cells.thin),
    )


def _loops(balance: Array) -> Array:
    """Orthonormal currents (f, k) that leave every cell's balance (c, f) at zero."""
    q, r, _ = qr(balance.T, pivoting=True)
    size = np.abs(np.diag(r))
    rank = int((size > 1e-9 * size.max(initial=0.0)).sum())
    return np.asarray(q[:, rank:], dtype=np.float64)
