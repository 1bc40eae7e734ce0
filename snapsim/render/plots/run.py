"""A run against time: speeds, energies, gap, pull and what the rig bears on one page."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from snapsim.arrays import Array
from snapsim.render.plots.figure import Plot
from snapsim.render.plots.style import DASHES, Paper, entitle

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from snapsim.simulation.trajectory import Trajectory

PANEL = 2.1
"""Height of one panel [inch]."""

MOST = 4


def run_plot(run: Trajectory) -> Plot:
    """Speed [m/s], gap to the magnet [mm], pull and loads of the rig [N] and energies [J] against
    time [s]."""
    borne = _heaviest(run)
    height = PANEL * (5 if borne else 4)
    return Plot(height, lambda figure, paper: _draw(figure, paper, run, borne))


def _heaviest(run: Trajectory) -> dict[str, Array]:
    """Forces (k,) [N] of the joints and fixed bodies that bore most, heaviest first."""
    forces = {name: column[:, 0] for name, column in run.bearing.items() if column[:, 0].any()}
    return dict(sorted(forces.items(), key=lambda item: -item[1].max())[:MOST])


def _draw(figure: Figure, paper: Paper, run: Trajectory, borne: dict[str, Array]) -> None:
    panels: list[Axes] = list(figure.subplots(5 if borne else 4, 1, sharex=True))
    speed, gap, pull, energy = panels[0], panels[1], panels[2], panels[-1]
    if borne:
        _loads(panels[3], paper, run, borne)
    free = [i for i, body in enumerate(run.system.bodies) if not body.fixed][:MOST]
    for i, colour, dash in zip(free, paper.series, DASHES, strict=False):
        name = run.system.bodies[i].name
        speed.plot(
            run.time, np.linalg.norm(run.velocity[:, i], axis=1), color=colour, ls=dash, label=name
        )
        pull.plot(run.time, np.linalg.norm(run.force[:, i], axis=1), color=colour, ls=dash)
    gap.plot(run.time, 1e3 * np.maximum(run.gap, 0), color=paper.series[0])
    gap.set_ylim(bottom=0)
    named = (("kinetic", "of motion"), ("magnetic", "magnetic"), ("dissipated", "lost"))
    for (key, label), colour, dash in zip(named, paper.series, DASHES, strict=False):
        values = run.energy[key]
        energy.plot(run.time, values - values[0], color=colour, ls=dash, label=label)
    speed.set_ylabel("speed\n[m/s]")
    entitle(speed, run.system.title)
    gap.set_ylabel("gap to the\nmagnet [mm]")
    pull.set_ylabel("magnetic\nforce [N]")
    energy.set(ylabel="energy gained\n[J]", xlabel="time [s]")
    energy.legend(loc="best")
    if len(free) > 1:
        speed.legend(loc="best")
    for axes in panels:
        _mark_first(axes, paper, run)
    figure.align_ylabels()


def _loads(axes: Axes, paper: Paper, run: Trajectory, borne: dict[str, Array]) -> None:
    """What the rig bears, blows left out."""
    for (name, force), colour, dash in zip(borne.items(), paper.series, DASHES, strict=False):
        axes.plot(run.time, force, color=colour, ls=dash, label=name)
    axes.set_ylabel("borne, blows\nleft out [N]")
    axes.legend(loc="best")


def _mark_first(axes: Axes, paper: Paper, run: Trajectory) -> None:
    """A rule at the first impact."""
    if run.impacts:
        axes.axvline(run.impacts[0].time, color=paper.warn, lw=1.4, ls=DASHES[2])
