"""A body: what is constant in a run. Its pose and motion stand in `states`."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from snapsim.arrays import Array
from snapsim.constants import MU_0
from snapsim.parts.materials import Material
from snapsim.parts.shapes import Shape


@dataclass(frozen=True)
class Body:
    """A rigid body of one material.

    `magnetised` (3,) is the unit direction of a magnet's magnetisation in body axes, None for
    anything that is no magnet. A `fixed` body never moves. `edge_radius` [m] is the rounding of its
    edges and corners, None where nobody said; motion takes them as sharp.
    """

    name: str
    shape: Shape
    material: Material
    magnetised: Array | None
    fixed: bool
    edge_radius: float | None = None

    @property
    def mass(self) -> float:
        """Mass [kg]."""
        return self.material.density * self.shape.volume

    @property
    def inertia(self) -> Array:
        """Inertia tensor (3, 3) about the centre of mass, body axes [kg m^2]."""
        return self.mass * self.shape.gyration

    @property
    def is_magnet(self) -> bool:
        """True for a permanent magnet."""
        return self.material.is_magnet

    @property
    def is_soft(self) -> bool:
        """True for a part that a field magnetises."""
        return self.material.is_soft

    @property
    def recoil_susceptibility(self) -> float:
        """Recoil permeability of a magnet less 1; 0 where its material names none."""
        return (self.material.recoil_permeability or 1.0) - 1.0

    @property
    def magnetisation(self) -> Array:
        """Permanent magnetisation (3,) in body axes [A/m]; zero for anything but a magnet."""
        if self.magnetised is None or self.material.remanence is None:
            return np.zeros(3)
        return self.material.remanence / MU_0 * self.magnetised
