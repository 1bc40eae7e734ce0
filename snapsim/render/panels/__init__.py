"""Panels of figures beside the scene: one contract, one short file each."""

from snapsim.render.panels.contract import Panel
from snapsim.render.panels.energy_bars import EnergyBars
from snapsim.render.panels.energy_slope import EnergySlope
from snapsim.render.panels.speed_plot import SpeedPlot

__all__ = ["EnergyBars", "EnergySlope", "Panel", "SpeedPlot"]
