"""Plots for explaining and for print: each function draws one figure from computed data."""

from snapsim.render.plots.angle import draw_energy, draw_torque
from snapsim.render.plots.distance import draw_distance
from snapsim.render.plots.field_lines import draw_field_lines
from snapsim.render.plots.figure import FORMATS, PlotOptions, save
from snapsim.render.plots.force_map import draw_force_map
from snapsim.render.plots.magnetisation import draw_magnetisation
from snapsim.render.plots.run import draw_run

__all__ = [
    "FORMATS",
    "PlotOptions",
    "draw_distance",
    "draw_energy",
    "draw_field_lines",
    "draw_force_map",
    "draw_magnetisation",
    "draw_run",
    "draw_torque",
    "save",
]
