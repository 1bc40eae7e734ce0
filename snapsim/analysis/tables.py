"""Results as tables for a terminal; every one of them ends with the cautions."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from rich.console import Group, RenderableType
from rich.markup import escape
from rich.table import Table
from rich.text import Text

from snapsim.analysis.cautions import CAUTIONS
from snapsim.analysis.figures import plain
from snapsim.analysis.repeats import LEGEND, marked
from snapsim.mechanics.chipping import Chipping
from snapsim.simulation.reproducibility import Trust
from snapsim.simulation.trajectory import Meshes
from snapsim.words.accuracy import reads_words

MOST_IMPACTS = 12
"""Blows shown; the run file and the JSON have all of them."""

UNACCOUNTED_LIMIT = 1e-3
"""Share of the released energy above which a run is marked, also one of an older file."""


def release_table(result: dict[str, Any]) -> RenderableType:
    """Return the tables of a release from its `summary`."""
    parts: list[RenderableType] = [
        Text(result["title"], style="bold"),
        *(Text(line) for line in result.get("answer", {}).get("says", ())),
        _ending(result),
        *_braking(result.get("braking", {})),
        *_repeats(result["twins"]),
        _impacts(result["impacts"], result["twins"]),
        _moving(result["bodies"], result["twins"]),
    ]
    if result["loads"]:
        parts.append(_loads(result["loads"], result["twins"]))
    parts += _audit(result)
    parts += _release_accuracy(result["accuracy"])
    return Group(*parts, cautions())


def run_notes(result: dict[str, Any]) -> list[tuple[str, bool]]:
    """Return what the tables of a release say beside its figures, a line each, from its `summary`:
    the energy audit, what eddy currents did, how far it repeats and errs; True where one warns."""
    lines = [
        *_chipping(result["impacts"]),
        *_parted(result["loads"]),
        *_release_accuracy(result["accuracy"]),
        *_braking(result.get("braking", {})),
        *_repeats(result["twins"]),
        *_audit(result),
    ]
    return [(said.strip(), bool(line.style)) for line in lines for said in line.plain.split("\n")]


def _braking(braking: dict[str, Any]) -> list[Text]:
    """What eddy currents did, and what is left out of them."""
    said = [Text(braking["says"])] if braking.get("says") else []
    return [*said, *(Text(f"note: {w}", style="yellow") for w in braking.get("left_out", ()))]


def _ending(result: dict[str, Any]) -> RenderableType:
    """What a run came to; one that is not to be relied on stands out."""
    line = f"{result['outcome']} after {plain(result['simulated_s'])} s: {result['reason']}"
    return Text(line, style="bold red" if result["outcome"] == "untrusted" else "")


def _repeats(twins: dict[str, Any]) -> list[Text]:
    """How far the run repeats."""
    parted = twins.get("apart_s") is not None
    lines = [Text(twins["says"], style="bold" if parted or not twins["compared"] else "")]
    if any(o["mark"] != Trust.REPRODUCIBLE for o in twins["outputs"].values()):
        lines.append(Text(LEGEND))
    return lines


def force_table(result: dict[str, Any]) -> RenderableType:
    """Return the table of a look before release from its `force_summary`."""
    table = Table("body", title_justify="left")
    for heading in ("mass\nkg", "force x y z\nN", "torque x y z\nN m"):
        table.add_column(heading, justify="right")
    for heading in ("mean polarisation\nx y z, T", "peak\nT", "cells"):
        table.add_column(heading, justify="right")
    for name, b in result["bodies"].items():
        table.add_row(
            escape(name),
            plain(b["mass_kg"]),
            _three(b["force_N"]),
            _three(b["torque_Nm"]),
            _three(b["mean_polarisation_T"]),
            plain(b["peak_polarisation_T"]),
            str(b["cells"]),
        )
    energy = f"magnetic energy {plain(result['magnetic_energy_J'])} J; magnetic forces only, "
    note = "weight not included; torque about each centre of mass; world axes"
    parts: list[RenderableType] = [Text(result["title"], style="bold"), table, energy + note]
    parts += [
        _pull_off(name, b["pull_off"]) for name, b in result["bodies"].items() if "pull_off" in b
    ]
    if sum(len(felt) for felt in result.get("between", {}).values()) > 2:
        parts.append(between_table(result["between"]))
    parts += [Text(line, style="bold red") for line in result.get("warnings", [])]
    if "accuracy" in result:
        parts += _reads(result)
        parts.append(_force_accuracy(result["accuracy"]))
    return Group(*parts, cautions())


def _reads(result: dict[str, Any]) -> list[RenderableType]:
    """One line a soft body: by how much the force found may be off, and to which side."""
    detail = result["accuracy"]["detail"]
    return [
        Text(f"{name}: {reads} ({detail} cells)")
        for name, b in result["bodies"].items()
        if b["cells"] and (reads := reads_words(b))
    ]


def between_table(between: dict[str, Any]) -> RenderableType:
    """Return who pulls whom: a row a body, a column each that acts on it."""
    columns = list(dict.fromkeys(other for felt in between.values() for other in felt))
    table = Table("force on", title="from each body, x y z in N", title_justify="left")
    for other in columns:
        table.add_column(f"from\n{escape(other)}", justify="right")
    for name, felt in between.items():
        cells = (_three(felt[o]["force_N"]) if o in felt else "" for o in columns)
        table.add_row(escape(name), *cells)
    return table


def _pull_off(name: str, pull: dict[str, Any]) -> str:
    """One line: what it takes to get a resting part off."""
    against = " and ".join(escape(a) for a in pull["against"])
    force = "more than any pull" if pull["force_N"] is None else f"{plain(pull['force_N'])} N"
    torque = "nothing tips it" if pull["torque_Nm"] is None else f"{plain(pull['torque_Nm'])} N m"
    return (
        f"{escape(name)} off {against}: {force} straight at its centre, or a torque of {torque}"
        " the weakest way"
    )


def _force_accuracy(accuracy: dict[str, Any]) -> RenderableType:
    """Limits of vanishing cells with error bars, from two meshes."""
    table = Table("body", title="Extrapolated to vanishing cells", title_justify="left")
    for heading in ("force x y z\nN", "+-\nN", "torque x y z\nN m", "+-\nN m", "cells"):
        table.add_column(heading, justify="right")
    for name, b in accuracy["bodies"].items():
        table.add_row(
            escape(name),
            _three(b["force_N"]),
            plain(b["force_error_N"]),
            _three(b["torque_Nm"]),
            plain(b["torque_error_Nm"]),
            f"{b['coarse_cells']}, {b['cells']}",
        )
    energy = accuracy["magnetic_energy_J"], accuracy["magnetic_energy_error_J"]
    note = "; the bars cover the cells, not the material or the magnet's grade"
    return Group(table, f"magnetic energy {plain(energy[0])} +- {plain(energy[1])} J{note}")


def cautions() -> RenderableType:
    """Return the cautions as one block."""
    return Text("\n".join(CAUTIONS), style="italic")


def _impacts(impacts: list[dict[str, Any]], twins: dict[str, Any]) -> RenderableType:
    if not impacts:
        return "nothing was struck"
    table = Table("time\ns", "body", "against", title="Impacts", title_justify="left")
    headings = ("closing\nm/s", "kinetic\nJ", "effective\nJ", "impulse\nN s", "peak force\nkN")
    for heading in headings:
        table.add_column(heading, justify="right")
    alike = twins.get("blows_alike", len(impacts))
    for number, one in enumerate(impacts[:MOST_IMPACTS]):
        style = "" if number < alike else "dim"
        table.add_row(*_impact(one), style=style, end_section=number == alike - 1)
    return Group(table, *_of_impacts(impacts, alike), *_chipping(impacts))


def _impact(i: dict[str, Any]) -> list[str]:
    """One blow's cells."""
    return [
        f"{i['time_s']:.4f}",
        escape(i["body"]),
        escape(i["against"]),
        plain(i["closing_speed_m_s"]),
        plain(i["kinetic_energy_J"]),
        plain(i["effective_energy_J"]),
        plain(i["impulse_Ns"]),
        " to ".join(plain(f / 1e3 if f is not None else None) for f in i["peak_force_N"]),
    ]


def _of_impacts(impacts: list[dict[str, Any]], alike: int) -> Iterator[str]:
    """What is to be said under the table of blows: twins, jams, and those left out of it."""
    if alike < len(impacts):
        yield f"a twin repeats the first {alike} of these blows, no more"
    jams = ", ".join(f"{i['time_s']:.4f} s" for i in impacts[:MOST_IMPACTS] if i.get("jammed"))
    if jams:
        yield (
            f"a slide jams at {jams}: friction presses the two together, and the closing speed told"
            " is that of a straight blow which would compress them as much"
        )
    left = len(impacts) - MOST_IMPACTS
    if left > 0:
        yield f"... and {left} more in the run file"


def _chipping(impacts: list[dict[str, Any]]) -> list[Text]:
    """The blow that is likeliest to chip a magnet, in words that promise nothing."""
    struck = [i for i in impacts if "magnet_chipping_chance" in i]
    if not struck:
        return []
    worst = max(struck, key=lambda i: i["magnet_chipping_chance"][2] or 0.0)
    band = " to ".join(plain(_scaled(s, 1e-6)) for s in worst["magnet_edge_stress_Pa"])
    said = (
        f"magnet: {worst['magnet_chipping']}. At {worst['time_s']:.4f} s, {worst['body']} against"
        f" {worst['against']}: elastic tensile stress at the contact's rim {band} MPa"
    )
    calm = worst["magnet_chipping_code"] in (Chipping.NOT_SHOWN, Chipping.NOT_JUDGED)
    return [Text(said, style="" if calm else "bold")]


def _moving(bodies: dict[str, Any], twins: dict[str, Any]) -> RenderableType:
    table = Table("body", title="Bodies", title_justify="left")
    for heading in ("mass\nkg", "top speed\nm/s", "top kinetic\nJ", "ends at x y z\nmm"):
        table.add_column(heading, justify="right")
    for name, b in bodies.items():
        key = f"bodies.{name}"
        table.add_row(
            escape(name),
            plain(b["mass_kg"]),
            marked(b["max_speed_m_s"], f"{key}.max_speed_m_s", twins),
            marked(b["max_kinetic_energy_J"], f"{key}.max_kinetic_energy_J", twins),
            _place(b["final_position_m"], f"{key}.final_position_m", twins),
        )
    return table


def _place(position: list[float | None], key: str, twins: dict[str, Any]) -> str:
    """A place in mm; where its figures do not repeat, that is said instead."""
    if f"{key}.x" not in twins["outputs"]:
        return _three([None if c is None else 1e3 * c for c in position])
    return "  ".join(
        marked(c, f"{key}.{axis}", twins, 1e3) for c, axis in zip(position, "xyz", strict=True)
    )


def _loads(loads: dict[str, Any], twins: dict[str, Any]) -> RenderableType:
    table = Table("held by", title="Loads, blows and own weight left out", title_justify="left")
    for heading in ("peak force\nN", "at\ns", "peak torque\nN m", "force\nat end, N"):
        table.add_column(heading, justify="right")
    table.add_column("torque\nat end, N m", justify="right")
    keys = ("peak_force_N", "peak_time_s", "peak_torque_Nm", "last_force_N", "last_torque_Nm")
    for name, load in loads.items():
        shown = (marked(load[k], f"loads.{name}.{k}", twins) if k in load else "" for k in keys)
        table.add_row(escape(name), *shown)
    return Group(table, *_parted(loads))


def _parted(loads: dict[str, Any]) -> list[Text]:
    """A line for each joint that parted."""
    return [
        Text(f"{name} parted at {load['parted_s']:.4f} s: {load.get('parted_why', '')}")
        for name, load in loads.items()
        if "parted_s" in load
    ]


def _audit(result: dict[str, Any]) -> list[Text]:
    energy, cost, known = result["energy"], result["cost"], _interpolation(result["accuracy"])
    share = energy["unaccounted_fraction"]
    line = (
        f"magnetic energy released {plain(energy['magnetic_released_J'])} J;"
        f" unaccounted {plain(energy['unaccounted_J'])} J ({plain(share)} of the released energy)"
        f"\n{_parts(result)}"
        f"\n{cost['field_evaluations']} field evaluations{known}, {cost['steps']} steps,"
        f" {plain(cost['wall_s'])} s of computing"
    )
    if share is None or share > UNACCOUNTED_LIMIT:
        warning = f"more than {UNACCOUNTED_LIMIT:g} of the energy is unaccounted: do not rely on it"
        return [Text(line), Text(warning, style="bold red")]
    return [Text(line)]


def _interpolation(accuracy: dict[str, Any]) -> str:
    """How many loads were interpolated between evaluations, and the errors met at checks; what is
    expected of the frames' magnetisation."""
    if not accuracy.get("interpolated_loads"):
        return ""
    said = f" and {accuracy['interpolated_loads']:.0f} interpolated between them"
    notes = []
    if accuracy.get("interpolation_error_worst") is not None:
        notes.append(
            f"error at {accuracy['interpolation_checks']:.0f} checks: median"
            f" {plain(accuracy['interpolation_error_median'])}, worst"
            f" {plain(accuracy['interpolation_error_worst'])} of the load"
        )
    if shown := accuracy.get("interpolated_magnetisation_error_worst"):
        notes.append(f"magnetisation at frames within {plain(shown)} of itself")
    return f"{said} ({'; '.join(notes)})" if notes else said


def _parts(result: dict[str, Any]) -> str:
    """The three parts of the audit in a line each."""
    energy = result["energy"]
    field, integrator, events = energy["field"], energy["integrator"], energy["events"]
    heat = result.get("braking", {}).get("joule_heat_J")
    currents = "" if heat is None else f", eddy currents {plain(heat)} J"
    return (
        f"  field: work {plain(field['work_J'])} J against {plain(field['released_J'])} J"
        f" released, at most {plain(field['largest_misfit_J'])} J apart\n"
        f"  integrator: work less losses {plain(integrator['work_J'])} J against a change of"
        f" kinetic energy of {plain(integrator['kinetic_change_J'])} J, at most"
        f" {plain(integrator['largest_misfit_J'])} J apart\n"
        f"  events: blows took {plain(events['impact_loss_J'])} J, friction"
        f" {plain(events['friction_loss_J'])} J{currents}, gained {plain(events['gained_J'])} J"
        f"{_corrections(energy)}"
    )


def _corrections(energy: dict[str, Any]) -> str:
    """What correcting positions took and gave, and how deep bodies overlap; older files have not
    kept it."""
    moved, depth = energy.get("position_correction", {}), energy.get("deepest_overlap_m")
    if moved.get("taken_J") is None or depth is None:
        return ""
    return (
        f"\n  position correction: took {plain(moved['taken_J'])} J, gave"
        f" {plain(moved['given_J'])} J; bodies overlap by {plain(1e6 * depth)} µm at most"
    )


def _release_accuracy(accuracy: dict[str, Any]) -> list[Text]:
    """What two meshes say, and every warning."""
    lines: list[Text] = []
    if "meshes" in accuracy:
        cells = f"{accuracy['coarse_cells']:.0f} and {accuracy['cells']:.0f} cells"
        line = f"on {cells}: {accuracy['meshes']}"
        if said := _first_blow(accuracy):
            line += f"; {said}"
        alike = accuracy.get("meshes_code") == Meshes.ALIKE
        lines.append(Text(line, style="" if alike else "bold"))
    elif "first_impact_speed_m_s" in accuracy:
        said = "first blow, the error of the cells allowed for: "
        lines.append(Text(said + _first_blow(accuracy)))
    if accuracy.get("eddy_band"):
        lines.append(Text(accuracy["eddy_band"]))
    for key in ("warning", "close_soft_parts"):
        if accuracy.get(key):
            lines.append(Text(accuracy[key], style="bold red"))
    return lines


def _first_blow(accuracy: dict[str, Any]) -> str:
    """What is known of the first blow, with its bars."""
    found = []
    for name, unit in _FIRST_IMPACT.items():
        key = "first_impact_" + name.replace(" ", "_")
        value, bar = accuracy.get(f"{key}_{unit}"), accuracy.get(f"{key}_error_{unit}")
        if value is not None:
            found.append(f"{name} {plain(value)} +- {plain(bar)} {unit.replace('_', '/')}")
    return "; ".join(found)


_FIRST_IMPACT = {"speed": "m_s", "kinetic energy": "J", "effective energy": "J"}
"""Extrapolated quantities of the first impact that the table shows, with the unit in their keys."""


def _scaled(value: float | None, factor: float) -> float | None:
    return None if value is None else factor * value


def _three(values: list[float | None]) -> str:
    largest = max((abs(v) for v in values if v is not None), default=0.0)
    floor = 1e-6 * largest  # what is only rounding beside the largest is shown as 0
    shown = (0.0 if v is not None and abs(v) < floor else v for v in values)
    return "  ".join(plain(v) for v in shown)
