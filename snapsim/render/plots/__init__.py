"""Plots for explaining and for print: each function makes one plot of computed data."""

from snapsim.render.plots.angle import energy_plot, torque_plot
from snapsim.render.plots.barrier import barrier_plot
from snapsim.render.plots.continuation import Branch, continuation_plot
from snapsim.render.plots.distance import distance_plot
from snapsim.render.plots.fates import fate_plot
from snapsim.render.plots.field_lines import field_plot
from snapsim.render.plots.figure import FORMATS, Plot, PlotOptions, ending_of, save, style_named
from snapsim.render.plots.force_map import map_plot
from snapsim.render.plots.magnetisation import magnetisation_plot
from snapsim.render.plots.ranking import exceedance_plot
from snapsim.render.plots.run import run_plot

__all__ = [
    "FORMATS",
    "Branch",
    "Plot",
    "PlotOptions",
    "barrier_plot",
    "continuation_plot",
    "distance_plot",
    "ending_of",
    "energy_plot",
    "exceedance_plot",
    "fate_plot",
    "field_plot",
    "magnetisation_plot",
    "map_plot",
    "run_plot",
    "save",
    "style_named",
    "torque_plot",
]
