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
    from snapsim.landscape.confirmation import Safety
    from snapsim.parts.bodies import Body
    from snapsim.render.plots import Plot
    from snapsim.simulation.system import System
    from snapsim.simulation.trajectory import Trajectory
    from snapsim.work.progress import Progress


LEAST = 5
"""Points of a curve below which it shows nothing."""


class What(StrEnum):
    """What of a scene is drawn; film: of a run."""

    energy = "energy"
    torque = "torque"
    magnetisation = "magnetisation"
    field = "field"
    barrier = "barrier"
    pull = "pull"
    saturation = "saturation"
    surface = "surface"
    film = "film"


PlotSource = Annotated[
    str, typer.Argument(metavar="INPUT", help="Scene (TOML), run (HDF5) or a sweep's DIR.")
]
PlotOutput = Annotated[
    str, typer.Option("-o", "--output", metavar="PLOT", help="Write .png, .svg or .pdf.")
]
PlotWhat = Annotated[
    What | None,
    typer.Option(
        help="Of a scene: energy or torque against tilt, torque with and without saturation,"
        " energy over tilt and lift as a surface, pull against weight over the gap,"
        " magnetisation cut open, field lines, the way over the barrier. Of a run: film, the"
        " part cut open at chosen moments."
    ),
]
PlotAxis = Annotated[
    int, typer.Option(min=1, help="Which of the axes it can turn about, where several.")
]
PlotPlane = Annotated[str, typer.Option(metavar="xz", help="Plane of a cut: xy, xz or yz.")]
PlotQuick = Annotated[
    bool, typer.Option("--quick", help="Energy against tilt without letting the part go.")
]


def plot(
    source: PlotSource,
    output: PlotOutput,
    what: PlotWhat = None,
    body: MovingBody = None,
    axis: PlotAxis = 1,
    plane: PlotPlane = "xz",
    quick: PlotQuick = False,
    style: Style = "light",
    force: ReplaceFlag = False,
    changes: Changes = None,
) -> None:
    """Why it snaps: energy, torque, magnetisation, field lines; a run or a sweep's energies."""
    target = Target(output, style, force, json=False, more=())
    if source.lower().endswith((".h5", ".hdf5")):
        if changes:
            raise InputError("a run is what it is; --set goes with a scene", key="--set")
        made = _of_run(source, what, body, plane)
    elif Path(source).is_dir():
        made = _of_sweep(source)
    else:
        if what is What.film:
            raise InputError("film goes with a run; release the scene first", key="--what")
        chosen = what or What.energy
        made = _of_scene(source, chosen, body, (axis - 1, quick), plane, changes)
    target.write(made)
    emit(f"wrote {output}")


def _of_run(path: str, what: What | None, body: str | None, plane: str) -> Plot:
    import snapsim
    from snapsim.render.plots import run_plot

    if what not in (None, What.film):
        raise InputError(f"{what} goes with a scene; of a run: film", key="--what")
    run = snapsim.read_run(path)
    return run_plot(run) if what is None else _film(run, body, plane)


def _film(run: Trajectory, body: str | None, plane: str) -> Plot:
    from snapsim.cli.progress import stage_progress
    from snapsim.landscape.film_strip import film_strip
    from snapsim.landscape.rests import body_number
    from snapsim.render.plots import film_strip_plot
    from snapsim.scenario.options import plane as axes_of

    axes, number = axes_of(plane, "--plane"), body_number(run.system, body)
    part = run.system.bodies[number]
    _refuse_magnet(part)
    with stage_progress() as progress:
        stills = film_strip(run, number, axes, progress)
    return film_strip_plot(stills, number, f"{part.name}: magnetisation on its way")


def _refuse_magnet(part: Body) -> None:
    if not part.is_soft:
        raise InputError(
            "has one magnetisation everywhere: it is a magnet", key=f"body.{part.name}"
        )


def _of_sweep(folder: str) -> Plot:
    from snapsim.study.ranking import rank
    from snapsim.study.report import curves

    found = curves(rank([folder], [])["rows"])
    if found is None:
        raise InputError("no run of the sweep struck anything: nothing to draw", file=folder)
    return found


def _of_scene(
    file: str,
    what: What,
    body: str | None,
    turn: tuple[int, bool],
    plane: str,
    changes: list[str] | None,
) -> Plot:
    import snapsim
    from snapsim.cli.progress import stage_progress
    from snapsim.scenario.options import plane as axes_of

    scene, axes = snapsim.load_scene(file, changes or ()), axes_of(plane, "--plane")
    with stage_progress() as progress:
        if what in (What.energy, What.torque, What.saturation):
            return _tilt(scene, body, what, turn, progress)
        if what is What.surface:
            return _surface(scene, body, turn[0], progress)
        if what is What.pull:
            return _pull(scene, body, progress)
        if what is What.barrier:
            return _barrier(scene, body, file, progress)
        return _cut(scene, body, what, axes)


def _tilt(
    scene: System, body: str | None, what: What, turn: tuple[int, bool], progress: Progress | None
) -> Plot:
    import numpy as np

    from snapsim.landscape.constraints import Constraints
    from snapsim.landscape.energy import EnergyLandscape
    from snapsim.landscape.rests import body_number
    from snapsim.landscape.tilt_curve import tilt_curve
    from snapsim.landscape.unsaturated import unsaturated
    from snapsim.render.plots import energy_plot, saturation_plot, torque_plot

    number, (axis, quick) = body_number(scene, body), turn
    linear = unsaturated(scene, number) if what is What.saturation else None
    constraints = Constraints(scene, number)
    curve = tilt_curve(EnergyLandscape(scene, number), constraints, axis, progress)
    if np.isfinite(curve.energy).sum() < LEAST:
        raise InputError(
            "cannot be turned about this axis, another body is in the way: nothing to draw;"
            " --axis takes another, --set moves the part",
            key=f"body.{label(scene.bodies[number].name)}",
        )
    title = f"{scene.bodies[number].name}: {scene.title}"
    if linear is not None:
        other = tilt_curve(EnergyLandscape(linear, number), constraints, axis, progress)
        return saturation_plot(curve, other, title)
    if what is What.torque:
        return torque_plot(curve, title)
    return energy_plot(curve, title, () if quick else _told(scene, number, axis, progress))


def _told(
    scene: System, number: int, axis: int, progress: Progress | None
) -> list[tuple[float, Safety]]:
    """What is known of the part let go at angles."""
    from snapsim.landscape.confirmation import safety
    from snapsim.study.sides import sides

    found = sides(scene, number, axis, progress)
    return [(a, safety(k)) for a, k in zip(found.angle, found.kind, strict=True)]


def _surface(scene: System, body: str | None, axis: int, progress: Progress | None) -> Plot:
    from snapsim.landscape.constraints import Constraints
    from snapsim.landscape.energy import EnergyLandscape
    from snapsim.landscape.rests import body_number
    from snapsim.landscape.surface import energy_surface
    from snapsim.render.plots import surface_plot

    number = body_number(scene, body)
    landscape = EnergyLandscape(scene, number, tolerance=1e-7)
    found = energy_surface(landscape, Constraints(scene, number), axis, progress)
    return surface_plot(found, f"{scene.bodies[number].name}: {scene.title}")


def _pull(scene: System, body: str | None, progress: Progress | None) -> Plot:
    from snapsim.landscape.pull_curve import pull_curve
    from snapsim.landscape.rests import body_number
    from snapsim.render.plots import pull_plot

    number = body_number(scene, body)
    found = pull_curve(scene, number, progress)
    return pull_plot(found, f"{scene.bodies[number].name}: {scene.title}")


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
    _refuse_magnet(part)
    places = stances(landscape, Constraints(scene, number), axes)
    if not places:
        raise InputError("there is no room to turn it: nothing to draw", key=f"body.{part.name}")
    cuts = {name: section(landscape, place, axes) for name, place in places.items()}
    return magnetisation_plot(cuts, scene, number)
