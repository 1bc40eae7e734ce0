"""Plots for explaining and for print: each function makes one plot of computed data."""

from snapsim.render.plots.angle import energy_plot, saturation_plot, torque_plot
from snapsim.render.plots.barrier import barrier_plot
from snapsim.render.plots.continuation import Branch, continuation_plot
from snapsim.render.plots.distance import Other, attraction, distance_plot
from snapsim.render.plots.fates import fate_plot
from snapsim.render.plots.field_lines import field_plot
from snapsim.render.plots.figure import FORMATS, Plot, PlotOptions, ending_of, save, style_named
from snapsim.render.plots.film_strip import film_strip_plot
from snapsim.render.plots.force_map import map_plot
from snapsim.render.plots.magnetisation import magnetisation_plot
from snapsim.render.plots.pull import pull_plot
from snapsim.render.plots.ranking import exceedance_plot
from snapsim.render.plots.run import run_plot
from snapsim.render.plots.surface import surface_plot

__all__ = [
    "FORMATS",
    "Branch",
    "Other",
    "Plot",
    "PlotOptions",
    "attraction",
    "barrier_plot",
    "continuation_plot",
    "distance_plot",
    "ending_of",
    "energy_plot",
    "exceedance_plot",
    "fate_plot",
    "field_plot",
    "film_strip_plot",
    "magnetisation_plot",
    "map_plot",
    "pull_plot",
    "run_plot",
    "saturation_plot",
    "save",
    "style_named",
    "surface_plot",
    "torque_plot",
]
