"""`snapsim force FILE`: a look before release."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Any

import typer

from snapsim.cli.options import AsJson, Changes, MovingBody, ReplaceFlag, SceneFile, Style
from snapsim.cli.output import complain, emit, emit_json
from snapsim.cli.target import Target
from snapsim.errors import InputError

if TYPE_CHECKING:
    from snapsim.landscape.curves import DistanceCurve
    from snapsim.parts.bodies import Body
    from snapsim.render.plots import Other
    from snapsim.simulation.system import System


ForceBars = Annotated[
    bool,
    typer.Option(
        "--accuracy/--no-accuracy", help="Error bars, from a second mesh; off is quicker."
    ),
]
ForceAlong = Annotated[
    str | None,
    typer.Option(metavar="DIRECTION", help='Force against distance along "z" or "0.1, 0, 1".'),
]
ForceDistance = Annotated[str, typer.Option(help="How far --along goes.")]
ForceBetween = Annotated[
    bool, typer.Option("--between", help="With --along: what it feels of each body apart.")
]
ForcePlane = Annotated[
    str | None, typer.Option(metavar="xz", help="Map of the force over a plane: xy, xz or yz.")
]
ForceSpan = Annotated[str, typer.Option(help="Width and height of --plane.")]
ForcePoints = Annotated[int, typer.Option(min=2, max=500, help="Points a line.")]
ForceOutput = Annotated[
    str | None,
    typer.Option("-o", "--output", metavar="FILE", help="Write .csv, .png, .svg or .pdf."),
]


def force(
    file: SceneFile,
    json: AsJson = False,
    accuracy: ForceBars = True,
    body: MovingBody = None,
    along: ForceAlong = None,
    distance: ForceDistance = "100 mm",
    between: ForceBetween = False,
    plane: ForcePlane = None,
    span: ForceSpan = "240 x 160 mm",
    points: ForcePoints = 41,
    output: ForceOutput = None,
    style: Style = "light",
    force: ReplaceFlag = False,
    changes: Changes = None,
) -> None:
    """Force, torque, energy and pull-off of each body as placed; along a line or over a plane."""
    import snapsim

    _refuse_what_does_not_go(along, between, plane, output)
    scene = snapsim.load_scene(file, changes or ())
    if body is not None:
        scene.number(body)
    target = Target(output if along or plane else None, style, force, json)
    if along is not None:
        return _along(scene, body, along, (distance, points, between), target)
    if plane is not None:
        return _plane(scene, body, plane, span, points, target)
    return _as_placed(scene, file, body, accuracy, json)


def _refuse_what_does_not_go(
    along: str | None, between: bool, plane: str | None, output: str | None
) -> None:
    """Raise InputError for options that do not go together."""
    if between and along is None:
        raise InputError(
            "goes with --along; as placed, the forces between bodies are printed anyway",
            key="--between",
        )
    if along is not None and plane is not None:
        raise InputError("give --along or --plane, not both", key="--plane")
    if output is not None and along is None and plane is None:
        raise InputError("needs --along or --plane, whose numbers it writes", key="--output")


def _as_placed(scene: System, file: str, body: str | None, accuracy: bool, json: bool) -> None:
    import snapsim
    from snapsim.analysis.tables import force_table

    report = snapsim.force(scene, accuracy)
    result = snapsim.force_summary(report)
    if body is not None:
        result = _only(body, result)
    if json:
        emit_json("force", result)
    else:
        emit(force_table(result))
    if not (report.converged and (report.accuracy is None or report.accuracy.converged)):
        complain(f"{file}: the magnetisation did not converge; do not rely on these numbers")
        raise typer.Exit(3)


def _only(body: str, result: dict[str, Any]) -> dict[str, Any]:
    """A `force_summary` with the rows of one body."""
    found = {**result, "bodies": {body: result["bodies"][body]}}
    if "between" in result:
        found["between"] = {n: felt for n, felt in result["between"].items() if n == body}
    if "accuracy" in result:
        found["accuracy"] = _only(body, result["accuracy"])
    return found


def _along(
    scene: System, body: str | None, along: str, how: tuple[str, int, bool], target: Target
) -> None:
    import snapsim
    from snapsim.analysis.curves import along_csv, along_summary, along_table
    from snapsim.cli.progress import stage_progress
    from snapsim.run.first_use import FIELDS_OVER_SPACE
    from snapsim.scenario import options

    distance, points, between = how
    way, far = options.direction(along, "--along"), options.length(distance, "--distance")
    with stage_progress(*FIELDS_OVER_SPACE) as progress:
        found = snapsim.force_along(scene, body, way, far, points, progress, between)
    part = scene.bodies[scene.number(found.body)]
    names = [b.name for b in scene.bodies]
    weight = part.mass * float((scene.gravity @ scene.gravity) ** 0.5)
    if target.path is not None:
        from snapsim.render.plots import distance_plot

        title = f"{part.name}: force along {along}"
        plot = distance_plot(found.curve, weight, title, _others(scene, part, found.curve))
        target.write(plot, lambda: along_csv(found.curve, names))
    result = along_summary(scene.title, part.name, found.curve, names)
    target.say("force-along", result, along_table)


def _others(scene: System, part: Body, curve: DistanceCurve) -> list[Other]:
    """What other bodies do to the part, where that was asked for."""
    from snapsim.render.plots import Other, attraction

    if curve.felt is None:
        return []
    place, number = scene.start.pose.position, scene.number(part.name)
    return [
        Other(b.name, attraction(curve, place[number], i, place[i]))
        for i, b in enumerate(scene.bodies)
        if i != number and (b.is_magnet or b.is_soft)
    ]


def _plane(
    scene: System, body: str | None, plane: str, span: str, points: int, target: Target
) -> None:
    import snapsim
    from snapsim.analysis.curves import map_csv, map_summary, map_table
    from snapsim.cli.progress import stage_progress
    from snapsim.run.first_use import FIELDS_OVER_SPACE
    from snapsim.scenario import options

    axes, size = options.plane(plane, "--plane"), options.lengths(span, "--span", 2)
    with stage_progress(*FIELDS_OVER_SPACE) as progress:
        found = snapsim.force_map(scene, body, axes, (size[0], size[1]), points, progress)
    if target.path is not None:
        from snapsim.render.plots import map_plot

        at = scene.start.pose.position[scene.number(found.body)]
        origin = float(at[axes[0]]), float(at[axes[1]])
        plot = map_plot(found.curve, origin, f"{found.body}: pull over the {plane} plane")
        target.write(plot, lambda: map_csv(found.curve))
    target.say("force-map", map_summary(scene.title, found.body, found.curve), map_table)
