"""What a field source is: a uniformly magnetised body's field strength and its gradient.

    H_i(x) = -N_ij(x) M_j,    G_il = dH_i/dx_l = -(dN_ij/dx_l) M_j,

N (3, 3) the dimensionless point demagnetising tensor, symmetric, of trace 1 inside the body and 0
outside; M [A/m] uniform, H [A/m], G [A/m^2] symmetric and of trace 0. Inside, H is the
demagnetising field, B = mu0 (H + M). Body axes, origin at the shape's centre, metres. Source:
Jackson, Classical Electrodynamics, 3rd ed., section 5.9 (from memory). A member of the family is a
module with `parameters(shape) -> Array` and a compiled `kernel(parameters, x, y, z, mx, my, mz)`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from snapsim.arrays import Array, ArrayLike, as_floats
from snapsim.magnetics.sources.evaluation import fill_local


@dataclass(frozen=True, eq=False)
class FieldSource:
    """Field of one uniformly magnetised shape: kernel `code` and its packed `parameters` (p,)."""

    code: int
    parameters: Array

    def field_and_gradient(
        self, points: ArrayLike, magnetisation: ArrayLike
    ) -> tuple[Array, Array]:
        """Return H (k, 3) [A/m] and G (k, 3, 3) [A/m^2] at `points` (k, 3) [m] for M (3,) [A/m]."""
        x, m = as_floats(points).reshape(-1, 3), as_floats(magnetisation)
        h, g = np.empty((len(x), 3)), np.empty((len(x), 3, 3))
        fill_local(self.code, self.parameters, x, m, h, g)
        return h, g

    def field(self, points: ArrayLike, magnetisation: ArrayLike) -> Array:
        """Return H (k, 3) [A/m] at `points` (k, 3) [m] for M (3,) [A/m]."""
        return self.field_and_gradient(points, magnetisation)[0]

    def tensor(self, points: ArrayLike) -> Array:
        """Return N (k, 3, 3) at `points` (k, 3) [m]."""
        return -np.stack([self.field(points, axis) for axis in np.eye(3)], axis=2)

    def tensor_gradient(self, points: ArrayLike) -> Array:
        """Return dN_ij/dx_l (k, 3, 3, 3) [1/m] at `points` (k, 3) [m]."""
        columns = [self.field_and_gradient(points, axis)[1] for axis in np.eye(3)]
        return -np.stack(columns, axis=2)
