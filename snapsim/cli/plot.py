"""`snapsim plot INPUT -o PLOT`: why, before release (a scene), and what happened (a run)."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from snapsim.cli.options import Changes, MovingBody, ReplaceFlag, Style
from snapsim.cli.output import emit
from snapsim.cli.target import Target
from snapsim.errors import InputError, label

if TYPE_CHECKING:
    from snapsim.render.plots import Plot
    from snapsim.simulation.system import System
    from snapsim.work.progress import Progress


LEAST = 5
"""Points of a curve below which it shows nothing."""


class What(StrEnum):
    """What of a scene is drawn."""

    energy = "energy"
    torque = "torque"
    magnetisation = "magnetisation"
    field = "field"
    barrier = "barrier"


def plot(
    source: Annotated[
        str, typer.Argument(metavar="INPUT", help="Scene (TOML), run (HDF5) or a sweep's DIR.")
    ],
    output: Annotated[
        str, typer.Option("-o", "--output", metavar="PLOT", help="Write .png, .svg or .pdf.")
    ],
    what: Annotated[
        What,
        typer.Option(
            help="Of a scene: energy or torque against tilt, magnetisation cut open, field lines,"
            " the way over the barrier."
        ),
    ] = What.energy,
    body: MovingBody = None,
    axis: Annotated[
        int, typer.Option(min=1, help="Which of the axes it can turn about, where several.")
    ] = 1,
    plane: Annotated[str, typer.Option(metavar="xz", help="Plane of a cut: xy, xz or yz.")] = "xz",
    style: Style = "light",
    force: ReplaceFlag = False,
    changes: Changes = None,
) -> None:
    """Why it snaps: energy, torque, magnetisation, field lines; a run or a sweep's energies."""
    target = Target(output, style, force, json=False, more=())
    if source.lower().endswith((".h5", ".hdf5")):
        if changes:
            raise InputError("a run is what it is; --set goes with a scene", key="--set")
        made = _of_run(source)
    elif Path(source).is_dir():
        made = _of_sweep(source)
    else:
        made = _of_scene(source, what, body, axis, plane, changes)
    target.write(made)
    emit(f"wrote {output}")


def _of_run(path: str) -> Plot:
    import snapsim
    from snapsim.render.plots import run_plot

    return run_plot(snapsim.read_run(path))


def _of_sweep(folder: str) -> Plot:
    from snapsim.study.ranking import rank
    from snapsim.study.report import curves

    found = curves(rank([folder], [])["rows"])
    if found is None:
        raise InputError("no run of the sweep struck anything: nothing to draw", file=folder)
    return found


def _of_scene(
    file: str, what: What, body: str | None, axis: int, plane: str, changes: list[str] | None
) -> Plot:
    import snapsim
    from snapsim.cli.progress import stage_progress
    from snapsim.scenario.options import plane as axes_of

    scene, axes = snapsim.load_scene(file, changes or ()), axes_of(plane, "--plane")
    with stage_progress() as progress:
        if what in (What.energy, What.torque):
            return _tilt(scene, body, what, axis - 1, progress)
        if what is What.barrier:
            return _barrier(scene, body, file, progress)
        return _cut(scene, body, what, axes)


def _tilt(
    scene: System, body: str | None, what: What, axis: int, progress: Progress | None
) -> Plot:
    import numpy as np

    from snapsim.landscape.constraints import Constraints
    from snapsim.landscape.energy import EnergyLandscape
    from snapsim.landscape.rests import body_number
    from snapsim.landscape.tilt_curve import tilt_curve
    from snapsim.render.plots import energy_plot, torque_plot

    number = body_number(scene, body)
    curve = tilt_curve(EnergyLandscape(scene, number), Constraints(scene, number), axis, progress)
    if np.isfinite(curve.energy).sum() < LEAST:
        raise InputError(
            "cannot be turned about this axis, another body is in the way: nothing to draw;"
            " --axis takes another, --set moves the part",
            key=f"body.{label(scene.bodies[number].name)}",
        )
    make = energy_plot if what is What.energy else torque_plot
    return make(curve, f"{scene.bodies[number].name}: {scene.title}")


def _barrier(scene: System, body: str | None, file: str, progress: Progress | None) -> Plot:
    import snapsim
    from snapsim.render.plots import barrier_plot

    report = snapsim.margin(scene, body, progress)
    name = scene.bodies[report.body].name
    if report.barrier is None:
        raise InputError("no pass to a magnet was found: nothing to draw", file=file, key=name)
    return barrier_plot(report, report.barrier, f"{name}: over the pass to the magnet")


def _cut(scene: System, body: str | None, what: What, axes: tuple[int, int]) -> Plot:
    from snapsim.landscape.constraints import Constraints
    from snapsim.landscape.energy import EnergyLandscape
    from snapsim.landscape.field_picture import field_picture
    from snapsim.landscape.rests import body_number
    from snapsim.landscape.section import section, stances
    from snapsim.render.plots import field_plot, magnetisation_plot

    number = body_number(scene, body)
    landscape = EnergyLandscape(scene, number, tolerance=1e-7)
    if what is What.field:
        return field_plot(field_picture(landscape, axes), scene, number)
    part = scene.bodies[number]
    if not part.is_soft:
        raise InputError(
            "has one magnetisation everywhere: it is a magnet", key=f"body.{part.name}"
        )
    places = stances(landscape, Constraints(scene, number), axes)
    if not places:
        raise InputError("there is no room to turn it: nothing to draw", key=f"body.{part.name}")
    cuts = {name: section(landscape, place, axes) for name, place in places.items()}
    return magnetisation_plot(cuts, scene, number)
