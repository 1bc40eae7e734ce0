"""`snapsim margin FILE [--body NAME]`: how far a part is from snapping."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Annotated, Any

import typer

from snapsim.cli.options import AsJson, Changes, MovingBody, ReplaceFlag, SceneFile, Style
from snapsim.cli.output import complain, emit, emit_json
from snapsim.cli.target import Target
from snapsim.errors import InputError
from snapsim.work.interrupts import INTERRUPTED

if TYPE_CHECKING:
    from snapsim.landscape.margin import Margin
    from snapsim.landscape.thresholds import WayKind
    from snapsim.render.plots import Plot
    from snapsim.scenario.spans import Span
    from snapsim.study.continuation import Against
    from snapsim.study.find_value import FoundValue

WAYS = ("lift", "approach", "push", "tilt")


MarginAgainst = Annotated[
    str | None,
    typer.Option(
        metavar="KEY=FROM..TO",
        help='How the margins move with a key: body.magnet.position.z="10..60 mm".',
    ),
]
MarginFind = Annotated[
    str | None,
    typer.Option(metavar="KEY=FROM..TO", help="The value of a key from which --so-that holds."),
]
MarginSoThat = Annotated[
    str | None,
    typer.Option(
        "--so-that",
        metavar="CONDITION",
        help='"no snap", "energy <= 5 J", "pull-off <= 60 N", "lift >= 20 mm", or tilt, push,'
        " approach; with --find.",
    ),
]
MarginSteps = Annotated[int, typer.Option(min=1, max=200, help="Steps of --against.")]
MarginWay = Annotated[
    list[str] | None,
    typer.Option(help="Only this: lift, approach, push or tilt. Repeatable."),
]
MarginOn = Annotated[
    str | None,
    typer.Option("--on", metavar="NAME", help="Body the part is set down on at each value."),
]
MarginWorkers = Annotated[int, typer.Option(min=1, max=256, help="Processes for --against.")]
MarginQuick = Annotated[
    bool, typer.Option("--quick", help="By a slow fall alone: not confirmed by releases.")
]
MarginTogether = Annotated[
    bool,
    typer.Option("--together", help="All free bodies: one is moved, all are let go."),
]
MarginOutput = Annotated[
    str | None,
    typer.Option("-o", "--output", metavar="FILE", help="Write .png, .svg, .pdf or .csv."),
]


def margin(
    file: SceneFile,
    body: MovingBody = None,
    against: MarginAgainst = None,
    find: MarginFind = None,
    so_that: MarginSoThat = None,
    steps: MarginSteps = 8,
    way: MarginWay = None,
    on: MarginOn = None,
    workers: MarginWorkers = 1,
    quick: MarginQuick = False,
    together: MarginTogether = False,
    output: MarginOutput = None,
    style: Style = "light",
    force: ReplaceFlag = False,
    json: AsJson = False,
    changes: Changes = None,
) -> None:
    """The point of no return: angle, distance, energy and hand force before a part snaps."""
    if together:
        asked = {"--body": body, "--against": against, "--find": find, "--way": way, "-o": output}
        alone = [name for name, given in {**asked, "--quick": quick or None}.items() if given]
        if alone:
            raise InputError("does not go with --together", key=alone[0])
        return _together(file, changes, json)
    if (find is None) != (so_that is None):
        raise InputError("go together", key="--find and --so-that")
    if find is not None and against is not None:
        raise InputError("give --against or --find, not both", key="--find")
    if against is None and find is None and on is not None:
        raise InputError("goes with --against or --find", key="--on")
    if find is not None and so_that is not None:
        if quick:
            raise InputError("does not go with --find, which is confirmed", key="--quick")
        return _find(file, (find, so_that), body, on, changes, json)
    endings = (".csv",) if against is not None else ()
    target = Target(output, style, force, json, endings)
    if against is not None:
        from snapsim.scenario.loading import scene_text
        from snapsim.scenario.spans import read_span
        from snapsim.study.continuation import Against

        span = read_span(against, "--against")
        given = Against(
            scene_text(file), file, span, steps, _kinds(way), tuple(changes or ()), body, on, quick
        )
        return _against(given, workers, target)
    return _as_placed(file, body, _kinds(way), quick, changes, target)


def _as_placed(
    file: str,
    body: str | None,
    kinds: tuple[WayKind, ...],
    quick: bool,
    changes: list[str] | None,
    target: Target,
) -> None:
    import snapsim
    from snapsim.analysis.margins import margin_summary, margin_table
    from snapsim.cli.progress import stage_progress

    scene = snapsim.load_scene(file, changes or ())
    with stage_progress() as progress:
        report = snapsim.margin(scene, body, progress, kinds, quick)
    if target.path is None or report.barrier is not None:
        _draw(report, target)
        target.say("margin", margin_summary(report), margin_table)
        return _left_off(file, report.interrupted)
    replace(target, path=None).say("margin", margin_summary(report), margin_table)
    _left_off(file, report.interrupted)
    complain(f"{file}: no pass to a magnet was found: there is nothing to draw")
    raise typer.Exit(3)


def _together(file: str, changes: list[str] | None, json: bool) -> None:
    import snapsim
    from snapsim.analysis.joint_margins import joint_margin_summary, joint_margin_table
    from snapsim.cli.progress import stage_progress

    scene = snapsim.load_scene(file, changes or ())
    with stage_progress() as progress:
        found = snapsim.margin_together(scene, progress)
    result = joint_margin_summary(found)
    if json:
        emit_json("margin-together", result)
    else:
        emit(joint_margin_table(result))
    _left_off(file, found.interrupted)


def _left_off(file: str, interrupted: bool) -> None:
    """End as what was interrupted does."""
    if interrupted:
        complain(f"{file}: interrupted; what was found until then stands above")
        raise typer.Exit(INTERRUPTED)


def _draw(report: Margin, target: Target) -> None:
    from snapsim.render.plots import barrier_plot

    if target.path is not None and report.barrier is not None:
        name = report.system.bodies[report.body].name
        target.write(barrier_plot(report, report.barrier, f"{name}: over the pass to the magnet"))


def _find(
    file: str,
    asked: tuple[str, str],
    body: str | None,
    on: str | None,
    changes: list[str] | None,
    json: bool,
) -> None:
    from snapsim.analysis.found_values import found_summary, found_table, tried_summary
    from snapsim.cli.progress import stage_progress
    from snapsim.scenario.loading import load_scene, scene_text
    from snapsim.scenario.spans import read_span
    from snapsim.study.find_value import Finding, Search, find_value, read_condition

    span, condition = read_span(asked[0], "--find"), read_condition(asked[1])
    title = load_scene(file, changes or ()).title
    given = Finding(scene_text(file), file, span, condition, tuple(changes or ()), body, on)
    with stage_progress() as progress:
        found = find_value(given, progress)
    tried = [tried_summary(t.numbers, t.detail, t.measure, t.holds, t.problem) for t in found.tried]
    said = {"title": title, "condition": condition.text, **_search_said(found)}
    result = found_summary(span, said, (found.value, found.beyond), tried)
    if json:
        emit_json("margin-find", result)
    else:
        emit(found_table(result))
    if found.outcome in (Search.NOT_MONOTONE, Search.CONTRADICTED):
        raise typer.Exit(3)


def _search_said(found: FoundValue) -> dict[str, Any]:
    return {"body": found.body, "outcome": found.outcome.value, "rising": found.rising}


def _against(given: Against, workers: int, target: Target) -> None:
    from snapsim.analysis.continuation import (
        continuation_csv,
        continuation_summary,
        continuation_table,
    )
    from snapsim.cli.progress import stage_progress
    from snapsim.study.continuation import continuation

    with stage_progress() as progress:
        found = continuation(given, workers, progress)
    result = continuation_summary(found)
    if target.path is not None:
        target.write(_lines(result, given.span), lambda: continuation_csv(result))
    target.say("margin-against", result, continuation_table)


def _kinds(way: list[str] | None) -> tuple[WayKind, ...]:
    for name in way or ():
        if name not in WAYS:
            raise InputError(f'"{name}" is no way; allowed: {", ".join(WAYS)}', key="--way")
    return tuple(k for k in WAYS if not way or k in way)  # type: ignore[misc]


def _lines(result: dict[str, Any], span: Span) -> Plot:
    import numpy as np

    from snapsim.analysis.continuation import limit_of, ways_of
    from snapsim.render.plots import Branch, continuation_plot

    rows = result["rows"]
    values = np.array([row["value"][span.shown] for row in rows])
    snaps = np.array([row["fate"] == "snaps" for row in rows])
    branches = []
    for name in ways_of(result):
        pairs = np.array([limit_of(row, name) for row in rows], dtype=np.float64)
        branches.append(Branch(name, name.startswith("tilt"), pairs[:, 0], pairs[:, 1], snaps))
    label = f"{span.key} [{span.unit}]" if span.unit else span.key
    return continuation_plot(values, label, branches, f"{result['body']}: the point of no return")
