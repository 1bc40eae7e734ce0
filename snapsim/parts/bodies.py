"""A body: what is constant in a run. Its pose and motion stand in `states`."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from snapsim.arrays import Array
from snapsim.constants import MU_0
from snapsim.parts.materials import Material
from snapsim.parts.shapes import Shape
from snapsim.parts.windings import Coil, Winding, winding_of


@dataclass(frozen=True)
class Body:
    """A rigid body of one material.

    `magnetised` (3,) is the unit direction of a magnet's magnetisation in body axes, None for
    anything that is no permanent magnet; `coil` is what a coil carries. A `fixed` body never moves.
    `edge_radius` [m] is the rounding of its edges and corners, None where nobody said; motion takes
    them as sharp.
    """

    name: str
    shape: Shape
    material: Material
    magnetised: Array | None
    fixed: bool
    edge_radius: float | None = None
    coil: Coil | None = None

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
        """True for what draws iron by itself: a permanent magnet, or a coil."""
        return self.material.is_magnet or self.coil is not None

    @property
    def polar_axis(self) -> Array | None:
        """Unit direction (3,) of a magnet's or a coil's moment, body axes, but for its sign; None
        for anything else."""
        return np.array([0.0, 0.0, 1.0]) if self.coil is not None else self.magnetised

    @property
    def is_permanent(self) -> bool:
        """True for a permanent magnet."""
        return self.material.is_magnet

    @property
    def is_soft(self) -> bool:
        """True for a part that a field magnetises."""
        return self.material.is_soft

    @property
    def winding(self) -> Winding | None:
        """Where a coil's turns lie; None for anything else."""
        return None if self.coil is None else winding_of(self.shape)

    @property
    def recoil_susceptibility(self) -> float:
        """Recoil permeability of a magnet less 1; 0 where its material names none."""
        return (self.material.recoil_permeability or 1.0) - 1.0

    @property
    def magnetisation(self) -> Array:
        """Magnetisation (3,) in body axes [A/m] of a magnet, or that whose field a coil has at
        release (`magnetics.sources.coil`); zero for anything else."""
        winding = self.winding
        if winding is not None and self.coil is not None:
            turns = self.coil.turns / (2.0 * winding.half_length)
            return np.array([0.0, 0.0, turns * self.coil.at(0.0)])
        if self.magnetised is None or self.material.remanence is None:
            return np.zeros(3)
        return self.material.remanence / MU_0 * self.magnetised

    @property
    def moment(self) -> Array:
        """Magnetic moment (3,) in body axes [A m^2] of a magnet, or a coil at release."""
        winding = self.winding
        if winding is None:
            return self.magnetisation * self.shape.volume
        return self.magnetisation * winding.mean_area * 2.0 * winding.half_length
