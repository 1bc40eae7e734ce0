"""Currents in conducting bodies: a network of cells, its inductances, its modes of relaxation."""

from __future__ import annotations

from snapsim.magnetics.conductors.layout import ConductorCells, conductor_cells
from snapsim.magnetics.conductors.modes import CurrentModes, current_modes

__all__ = ["ConductorCells", "CurrentModes", "conductor_cells", "current_modes"]
