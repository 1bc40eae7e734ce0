"""What a search for rests found: the JSON object and the table of `poses`."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

import numpy as np
from rich.console import Group, RenderableType
from rich.markup import escape
from rich.table import Table
from rich.text import Text

from snapsim.analysis.cautions import CAUTIONS
from snapsim.analysis.figures import number, numbers, plain
from snapsim.analysis.tables import cautions
from snapsim.numerics import rotations
from snapsim.words.lies import arrangement_words, lie_words, rests_answer, together_answer

if TYPE_CHECKING:  # importing it loads the compiled magnetics
    from snapsim.landscape.friction_hold import FrictionHold
    from snapsim.landscape.joint_rests import JointRest, JointRests
    from snapsim.landscape.rests import Rest, Rests
    from snapsim.landscape.stability import SmallMotion

LIMITS = (
    "Rests are those found from these starts; nothing proves that there is no other.",
    "Stability and frequencies are of small motions on smooth contacts; friction may hold a part"
    " where they say that it leaves, and a knock may move one that they say stays.",
    "Other bodies are taken as held where they are; hands have let go.",
)


def rests_summary(report: Rests) -> dict[str, Any]:
    """Return what `snapsim poses --json` prints; SI, None where a number has no meaning."""
    lowest = min((r.energy for r in report.rests), default=0.0)
    body = report.system.bodies[report.body]
    return {
        "title": report.system.title,
        "answer": rests_answer(report),
        "body": body.name,
        "mass_kg": number(body.mass),
        "rests": [_rest(r, lowest) for r in report.rests],
        "search": {
            "starts": report.starts,
            "planned_starts": report.planned,
            "interrupted": report.interrupted,
            "chance_of_another": number(report.unseen),
            "seed": report.seed,
            "left_the_scene": report.away,
            "unfinished": report.unfinished,
            "coarse_cells": report.coarse_cells,
            "cells": report.cells,
            "field_evaluations": report.evaluations,
        },
        "limits": list(LIMITS),
        "cautions": list(CAUTIONS),
    }


def _rest(rest: Rest, lowest: float) -> dict[str, Any]:
    axis = rotations.matrix(rest.place.quaternion)[:, 2]
    modes = () if rest.stability is None else rest.stability.modes
    unstable = () if rest.stability is None else rest.stability.unstable
    return {
        "verdict": rest.verdict,
        "sentence": lie_words(rest.lie),
        "attitude_code": rest.lie.attitude,
        "leaves_along": [mode.words for mode in unstable],
        "held_by": rest.held_by,
        "touches": list(rest.touches),
        "position_m": numbers(rest.place.position),
        "quaternion": numbers(rest.place.quaternion),
        "axis_from_vertical_deg": number(np.degrees(np.arccos(min(1.0, abs(float(axis[2])))))),
        "energy_J": number(rest.energy),
        "magnetic_energy_J": number(rest.magnetic),
        "energy_above_lowest_J": number(rest.energy - lowest),
        "holding_N": {name: number(force) for name, force in rest.holding.items()},
        "pull_off_N": number(rest.pull_off),
        "mean_polarisation_T": number(rest.polarisation),
        "modes": [_mode(mode) for mode in modes],
        "friction": None if rest.friction is None else _friction(rest.friction),
        "copies": rest.copies,
        "found": rest.found,
    }


def _mode(mode: SmallMotion) -> dict[str, Any]:
    return {
        "motion": mode.words,
        "direction": numbers(mode.direction),
        "stiffness_N_m": number(mode.stiffness),
        "frequency_Hz": number(mode.frequency),
        "growth_1_s": number(mode.growth),
    }


def _friction(hold: FrictionHold) -> dict[str, Any]:
    """Unbounded bands are None: they reach farther than was looked."""
    return {
        "sideways_N": number(hold.sideways),
        "holds_within_m": {way: number(far) for way, far in hold.band.items()},
    }


def rests_table(result: dict[str, Any]) -> RenderableType:
    """Return the table of `poses` from its `rests_summary`."""
    table = Table("", "what", "where x y z\nmm", title=_title(result), title_justify="left")
    headings = (
        "axis from\nvertical\ndeg",
        "energy\nJ",
        "held with\nN",
        "pull-off\nN",
        "lowest\nHz",
    )
    for heading in (*headings, "friction holds\nmm", "copies"):
        table.add_column(heading, justify="right")
    for k, rest in enumerate(result["rests"], start=1):
        table.add_row(
            str(k),
            _what(rest),
            "  ".join(plain(1e3 * c if abs(c) > 5e-6 else 0.0) for c in rest["position_m"]),
            plain(round(rest["axis_from_vertical_deg"], 1)),
            plain(rest["energy_J"]),
            _held(rest["holding_N"]),
            plain(rest["pull_off_N"]),
            plain(_lowest(rest["modes"])),
            _band(rest["friction"]),
            str(rest["copies"]),
        )
    style = "bold red" if result["search"]["interrupted"] else "bold"
    answer, limits = Text(result["answer"], style=style), Text("\n".join(result["limits"]))
    return Group(answer, table, _searched(result["search"]), limits, cautions())


def _searched(search: dict[str, Any]) -> str:
    """How rests were looked for."""
    line = (
        f"{search['starts']} starts on {search['coarse_cells']} cells (seed {search['seed']}),"
        f" refined on {search['cells']}; {search['unfinished']} did not finish,"
        f" {search['left_the_scene']} left the scene"
    )
    if search["starts"] < search["planned_starts"] and not search["interrupted"]:
        line += f"; ended before the {search['planned_starts']} planned: the last found no new rest"
    if search["chance_of_another"]:
        share = plain(round(100 * search["chance_of_another"], 0))
        line += f"; one more start would find a new rest in some {share} %"
    return line


def _title(result: dict[str, Any]) -> str:
    what = f"{result['title']}: resting poses of {result['body']}"
    return escape(f"{what} ({plain(result['mass_kg'])} kg)")


def _what(rest: dict[str, Any]) -> str:
    where = rest["sentence"]
    words = {"saddle": "[yellow]unstable[/]", "unstable": "[yellow]unstable[/]"}
    verdict = words.get(rest["verdict"], f"[green]{rest['verdict']}[/]")
    leaving = "; ".join(rest["leaves_along"])
    return f"{verdict} {escape(where)}" + (f"\n{escape(leaving)}" if leaving else "")


def _held(holding: Mapping[str, float | None]) -> str:
    return "\n".join(
        f"{escape(name)} {plain(force)}" if len(holding) > 1 else plain(force)
        for name, force in holding.items()
    )


def _lowest(modes: list[dict[str, Any]]) -> float | None:
    return min((m["frequency_Hz"] for m in modes if m["frequency_Hz"] is not None), default=None)


def _band(friction: dict[str, Any] | None) -> str:
    if friction is None:
        return "-"
    return "\n".join(
        f"{way} {'far' if far is None else plain(round(1e3 * far, 1))}"
        for way, far in friction["holds_within_m"].items()
    )


TOGETHER_LIMITS = (
    "Arrangements are those found from these starts; nothing proves that there is no other. Rests"
    " that only friction holds were not searched; hands have let go.",
    "Stability is of small motions on smooth contacts; draft cells in the search.",
)


def together_summary(report: JointRests) -> dict[str, Any]:
    """Return what `snapsim poses --together --json` prints."""
    lowest = min((r.energy for r in report.rests), default=0.0)
    names = [report.system.bodies[i].name for i in report.bodies]
    return {
        "title": report.system.title,
        "answer": together_answer(report),
        "bodies": names,
        "arrangements": [_arrangement(r, names, lowest) for r in report.rests],
        "search": {
            "starts": report.starts,
            "planned_starts": report.planned,
            "interrupted": report.interrupted,
            "seed": report.seed,
            "left_the_scene": report.away,
            "unfinished": report.unfinished,
            "cells": report.cells,
            "field_evaluations": report.evaluations,
        },
        "limits": list(TOGETHER_LIMITS),
        "cautions": list(CAUTIONS),
    }


def _arrangement(rest: JointRest, names: list[str], lowest: float) -> dict[str, Any]:
    return {
        "verdict": rest.verdict,
        "sentence": arrangement_words(rest.lies),
        "leaves_along": list(rest.leaves),
        "touches": [list(pair) for pair in rest.touches],
        "bodies": {
            name: {
                "position_m": numbers(rest.place.position[k]),
                "quaternion": numbers(rest.place.quaternion[k]),
                "axis_from_vertical_deg": number(np.degrees(rest.lies[k].axis)),
                "attitude_code": rest.lies[k].attitude,
            }
            for k, name in enumerate(names)
        },
        "energy_J": number(rest.energy),
        "magnetic_energy_J": number(rest.magnetic),
        "energy_above_lowest_J": number(rest.energy - lowest),
        "holding_N": {name: number(force) for name, force in rest.holding.items()},
        "between_N": [
            {"on": one, "from": other, "force_N": numbers(force)}
            for (one, other), force in rest.between.items()
        ],
        "found": rest.found,
    }


def together_table(result: dict[str, Any]) -> RenderableType:
    """Return the table of `poses --together` from its `together_summary`."""
    table = Table("", "how they rest", "energy\nJ", "held with\nN", "between them\nN", "found")
    for k, one in enumerate(result["arrangements"], start=1):
        stays = one["verdict"] == "stable"
        verdict = "[green]stable[/]" if stays else "[yellow]unstable[/]"
        said = escape(one["sentence"].replace("; ", "\n"))
        leaving = "\n".join(escape(w) for w in one["leaves_along"])
        forces = "\n".join(
            plain(round(sum(x * x for x in b["force_N"]) ** 0.5, 2)) for b in one["between_N"]
        )
        table.add_row(
            str(k), f"{verdict}\n{said}" + (f"\n{leaving}" if leaving else ""),
            plain(one["energy_J"]), _held(one["holding_N"]), forces, str(one["found"]),
        )  # fmt: skip
    search = result["search"]
    line = (
        f"{search['starts']} of {search['planned_starts']} starts on {search['cells']} cells"
        f" (seed {search['seed']}); {search['unfinished']} did not finish,"
        f" {search['left_the_scene']} left the scene"
    )
    answer = Text(result["answer"], style="bold red" if search["interrupted"] else "bold")
    title = Text(f"{result['title']}: {', '.join(result['bodies'])} together")
    return Group(answer, title, table, line, Text("\n".join(result["limits"])), cautions())
