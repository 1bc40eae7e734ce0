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

LEGEND = 0.6
"""Room above four energies for their names, as a share of theirs."""

LITTLE = 0.01
"""Share of the largest change of an energy below which another is not drawn."""


def run_plot(run: Trajectory) -> Plot:
    """Speed [m/s], gap to the magnet [mm], pull and loads of the rig [N] and energies [J] against
    time [s]."""
    borne = _heaviest(run)
    height = PANEL * (3 + bool(borne) + _has_gap(run))
    return Plot(height, lambda figure, paper: _draw(figure, paper, run, borne))


def _heaviest(run: Trajectory) -> dict[str, Array]:
    """Forces (k,) [N] of the joints and fixed bodies that bore most, heaviest first."""
    forces = {name: column[:, 0] for name, column in run.bearing.items() if column[:, 0].any()}
    return dict(sorted(forces.items(), key=lambda item: -item[1].max())[:MOST])


def _draw(figure: Figure, paper: Paper, run: Trajectory, borne: dict[str, Array]) -> None:
    panels: list[Axes] = list(figure.subplots(3 + bool(borne) + _has_gap(run), 1, sharex=True))
    speed, energy = panels[0], panels[-1]
    if _has_gap(run):
        _gap(panels[1], paper, run)
    pull = panels[1 + _has_gap(run)]
    if borne:
        _loads(panels[-2], paper, run, borne)
    free = [i for i, body in enumerate(run.system.bodies) if not body.fixed][:MOST]
    for i, colour, dash in zip(free, paper.series, DASHES, strict=False):
        name = run.system.bodies[i].name
        speed.plot(
            run.time, np.linalg.norm(run.velocity[:, i], axis=1), color=colour, ls=dash, label=name
        )
        pull.plot(run.time, np.linalg.norm(run.force[:, i], axis=1), color=colour, ls=dash)
    for (key, label), colour, dash in zip(_energies(run), paper.series, DASHES, strict=False):
        values = run.energy[key]
        energy.plot(run.time, values - values[0], color=colour, ls=dash, label=label)
    speed.set_ylabel("speed\n[m/s]")
    entitle(speed, run.system.title)
    pull.set_ylabel("magnetic\nforce [N]")
    energy.set(ylabel="energy gained\n[J]", xlabel="time [s]")
    crowded = len(_energies(run)) > 3
    if crowded:
        low, high = energy.get_ylim()
        energy.set_ylim(low, high + LEGEND * (high - low))
    energy.legend(loc="upper left" if crowded else "best", ncols=2 if crowded else 1)
    if len(free) > 1:
        speed.legend(loc="best")
    for axes in panels:
        _mark_first(axes, paper, run)
    figure.align_ylabels()


def _has_gap(run: Trajectory) -> bool:
    """Whether anything that moves is iron or a magnet with another one to come near to."""
    return bool(np.isfinite(run.gap).any())


def _gap(axes: Axes, paper: Paper, run: Trajectory) -> None:
    axes.plot(run.time, 1e3 * np.maximum(run.gap, 0), color=paper.series[0])
    axes.set_ylim(bottom=0)
    axes.set_ylabel("gap to the\nmagnet [mm]")


def _energies(run: Trajectory) -> list[tuple[str, str]]:
    """Which energies are drawn, and as what: of a run with eddy currents those that change, with
    their heat, four at most."""
    named = [("kinetic", "of motion"), ("magnetic", "magnetic"), ("dissipated", "lost")]
    if "joule_heat" not in run.energy:
        return named
    most = max(float(np.ptp(run.energy[key])) for key in ("kinetic", "magnetic", "gravity"))
    also = [("magnetic", "magnetic"), ("gravity", "of weight")]
    if np.ptp(run.energy["dissipated"] - run.energy["joule_heat"]) > LITTLE * most:
        also.insert(0, ("dissipated", "lost, with this heat"))
    drawn = [one for one in also if np.ptp(run.energy[one[0]]) > LITTLE * most]
    return [named[0], ("joule_heat", "heat of eddy currents"), *drawn][: len(DASHES)]


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
