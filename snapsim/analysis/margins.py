"""How far a part is from snapping: the JSON object and the tables of `margin`."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
from rich.console import Group, RenderableType
from rich.markup import escape
from rich.table import Table
from rich.text import Text

from snapsim.analysis.cautions import CAUTIONS
from snapsim.analysis.figures import number, numbers, plain
from snapsim.analysis.tables import cautions
from snapsim.landscape.confirmation import Decider
from snapsim.words.guided_pushes import guided_answer, guided_sentence
from snapsim.words.margins import broken_off, margin_answer, way_name, way_sentence
from snapsim.words.slips import slip_sentence, slips_answer

if TYPE_CHECKING:  # importing it loads the compiled magnetics
    from snapsim.landscape.confirmation import Confirmation, LetGo
    from snapsim.landscape.guided_push import GuidedPush
    from snapsim.landscape.margin import Barrier, Margin
    from snapsim.landscape.place import Place
    from snapsim.landscape.slipping import Slip
    from snapsim.landscape.thresholds import RefinedQuantity, Threshold

LIMITS = (
    "Ways are looked at in steps: a band narrower than a 24th of what was searched can be missed.",
    "A snap: let go at rest there, a part ends at a magnet. A jerk of the hand is left out, and in"
    " a slow fall also the speed gained on the way and parts that move along: a margin is no safe"
    " distance.",
    "Where releases were made, they were so from a few places of each way, with the pull at the top"
    " of its cells' bar: what falls and tumbles may snap from a band between them.",
    "The error bars cover the cells, not the material, the friction or the magnet's grade.",
)

ALONE = "the others are held, and a hand that jerks or goes to and fro takes less."


def margin_summary(report: Margin) -> dict[str, Any]:
    """Return what `snapsim margin --json` prints; SI, angles in degrees, None where none is."""
    body, names = report.system.bodies[report.body], [b.name for b in report.system.bodies]
    answer = margin_answer(report.fate, body.name, report.reached, report.thresholds, names)
    if report.fate == "touches" and report.slips:
        answer = f"{answer[:-1]}; {slips_answer(body.name, report.slips)}."
    if guided := guided_answer(report.guided):
        answer = f"{answer[:-1]}; {guided}."
    if report.interrupted:
        unconfirmed = sum(t.confirmation is None for t in report.thresholds)
        answer = f"{answer} {broken_off(report.left, unconfirmed)}"
    return {
        "title": report.system.title,
        "answer": answer,
        "body": body.name,
        "mass_kg": number(body.mass),
        "present": _present(report),
        "ways": [way_summary(t, names) for t in report.thresholds],
        "slips": [slip_summary(one) for one in report.slips],
        "guided_pushes": [guided_summary(one) for one in report.guided],
        "search": {"interrupted": report.interrupted, "ways_left_code": list(report.left)},
        "barrier": None if report.barrier is None else _barrier(report.barrier),
        "accuracy": {
            "detail": report.system.detail,
            "coarse_cells": report.cells[0],
            "cells": report.cells[1],
            "order": number(report.order),
            "field_evaluations": report.evaluations,
        },
        "limits": limits_of(report),
        "cautions": list(CAUTIONS),
    }


def _present(report: Margin) -> dict[str, Any]:
    """Where the part is now, what pulls at it, and what becomes of it."""
    return {
        "fate": report.fate,
        "reaches": report.reached or None,
        **_pose(report.place),
        "load_N": numbers(report.load[:3]),
        "load_torque_Nm": numbers(report.load[3:]),
        "released": None if report.now is None else let_go_summary(report.now, ("m", 1.0)),
    }


def limits_of(report: Margin) -> list[str]:
    """Return what was not looked at: of every margin, and of a part on a joint that guides it."""
    guides = [
        joint.name
        for joint in report.system.joints
        if report.body in joint.bodies and not joint.carries and joint.kind != "string"
    ]
    if not guides:
        return list(LIMITS)
    names = " and ".join(guides)
    if report.guided:
        return [*LIMITS, f"Pushes along {names} are those of a part that goes by itself: {ALONE}"]
    return [*LIMITS, f"Which push starts it against friction on {names} was not looked at."]


def _pose(place: Place) -> dict[str, Any]:
    from snapsim.landscape.place import axis_from_vertical

    return {
        "position_m": numbers(place.position),
        "quaternion": numbers(place.quaternion),
        "axis_from_vertical_deg": number(np.degrees(axis_from_vertical(place))),
    }


def way_summary(t: Threshold, bodies: Sequence[str]) -> dict[str, Any]:
    """Return one way: a tilt in degrees, any other in metres; keys say which. `bodies` by name."""
    tilt = t.kind == "tilt"
    unit, scale = ("deg", float(np.degrees(1.0))) if tilt else ("m", 1.0)
    found: dict[str, Any] = {
        "way": way_name(t),
        "sentence": way_sentence(t, bodies),
        "kind": t.kind,
        "axis" if tilt else "direction": numbers(t.direction),
        f"searched_{unit}": number(scale * t.searched),
        "stopped_by_code": t.stop.why,
        "stopped_by": None if t.stop.body is None else bodies[t.stop.body],
        f"may_snap_from_{unit}": None if t.least is None else number(scale * t.least),
        f"no_snap_from_{unit}": None if t.no_snap_from is None else number(scale * t.no_snap_from),
        "decided_by_code": _decided_by(t),
        "releases": None if t.confirmation is None else _releases(t.confirmation, (unit, scale)),
        **_quantity("snaps_beyond", t.beyond, unit, scale),
        **_quantity("safe_from", t.safe_from, unit, scale),
        "peak_hand_torque_Nm" if tilt else "peak_hand_force_N": number(t.effort),
        f"peak_at_{unit}": number(scale * t.effort_at),
        "hand_work_J": number(t.work),
        f"undecided_at_{unit}": None if t.undecided is None else number(scale * t.undecided),
        "snaps_as_it_is": t.snaps_now,
        "on_one_mesh_only": t.one_mesh,
        "place": None if t.place is None else _pose(t.place),
    }
    if tilt:
        found |= _quantity("hand_torque_zero", t.balance, unit, scale)
        found["pivot_m"] = None if t.pivot is None else numbers(t.pivot)
    return found


def slip_summary(slip: Slip) -> dict[str, Any]:
    """Return the push along one direction that moves the part."""
    then = slip.then
    return {
        "sentence": slip_sentence(slip),
        "direction": numbers(slip.direction),
        "may_begin_from_N": number(slip.least),
        "push_N": number(slip.force.value),
        "push_error_N": number(slip.force.error),
        "begins_code": slip.begins,
        "on": list(slip.on),
        "along_the_pole": None
        if then is None
        else {
            "largest_push_N": number(then.peak),
            "largest_at_m": number(then.peak_at),
            "goes_on_from_m": None if then.goes_on is None else number(then.goes_on),
            "fate_code": then.fate,
            "reaches": then.reaches or None,
            "ends_m": number(then.ends),
            "searched_m": number(then.searched),
            "leaves_the_face": then.leaves,
        },
    }


def guided_summary(push: GuidedPush) -> dict[str, Any]:
    """Return the push along one way that joints leave the part: torques and angles of a turn."""
    unit, scale, size = ("deg", np.degrees(1.0), "Nm") if push.turns else ("m", 1.0, "N")
    return {
        "sentence": guided_sentence(push),
        "joints": list(push.joints),
        "axis" if push.turns else "direction": numbers(push.direction),
        f"kept_up_may_be_enough_from_{size}": number(push.least),
        **_quantity("kept_up", push.kept_up, size, 1.0),
        **_quantity("starts", push.starts, size, 1.0),
        **_quantity("slow", push.slow, size, 1.0),
        f"slow_at_{unit}": number(scale * push.slow_at),
        **_quantity("knock", push.work, "J", 1.0),
        f"until_{unit}": number(scale * push.until),
        "may_snap_there": push.snaps,
        "farthest_point_m": number(push.farthest) if push.turns else None,
    }


def _decided_by(t: Threshold) -> str | None:
    """What decides where a snap may begin; None on a way on which none was found."""
    if not t.found:
        return None
    return Decider.RELEASE if t.by_release else Decider.SLOW_FALL


def _releases(said: Confirmation, measure: tuple[str, float]) -> dict[str, Any]:
    unit, scale = measure
    return {
        "ruling_code": said.ruling,
        f"edge_{unit}": None if said.edge is None else number(scale * said.edge),
        "decisive": None if said.decisive is None else let_go_summary(said.decisive, measure),
        "pull_raised_by": number(said.stronger),
        "tried": [let_go_summary(one, measure) for one in said.tried],
    }


def let_go_summary(one: LetGo, measure: tuple[str, float]) -> dict[str, Any]:
    """Return one release; `measure` is the unit of what it was moved by, and its scale."""
    unit, scale = measure
    return {
        f"at_{unit}": number(scale * one.s),
        "fate_code": one.kind,
        "safe": one.safe,
        "snapped": one.snapped or None,
        "struck": one.struck or None,
        "turned_deg": number(np.degrees(one.turned)),
        "with_the_pull_as_computed": one.alike,
        "moved": list(one.moved),
    }


def _quantity(name: str, q: RefinedQuantity | None, unit: str, scale: float) -> dict[str, Any]:
    value, error = (None, None) if q is None else (scale * q.value, scale * q.error)
    return {
        f"{name}_{unit}": None if value is None else number(value),
        f"{name}_error_{unit}": None if error is None else number(error),
    }


def _barrier(b: Barrier) -> dict[str, Any]:
    return {
        "energy_J": number(b.energy.value),
        "energy_error_J": number(b.energy.error),
        "above_present_J": number(b.above_present),
        "nudge_speed_m_s": number(b.nudge),
        "hand_force_N": number(b.force),
        "leaves_along": b.leaves,
        "single_pass": b.top.converged,
        "rest": _pose(b.rest),
        "pass": _pose(b.top.place),
        "path": {
            "position_m": [numbers(p.position) for p in b.top.places],
            "quaternion": [numbers(p.quaternion) for p in b.top.places],
            "energy_J": numbers(b.top.energy),
        },
    }


def margin_table(result: dict[str, Any]) -> RenderableType:
    """Return the tables of `margin` from its `margin_summary`."""
    present = result["present"]
    title = f"{result['title']}: margin of {result['body']} ({plain(result['mass_kg'])} kg)"
    angle = plain(round(present["axis_from_vertical_deg"], 2))
    parts: list[RenderableType] = [
        Text(result["answer"], style="bold red" if present["fate"] != "stays" else "bold"),
        Text(title),
        f"its axis is {angle} deg from the vertical; field and weight pull with"
        f" {_three(present['load_N'])} N and {_three(present['load_torque_Nm'])} N m",
    ]
    if result["ways"]:
        parts.append(_ways(result["ways"], present["fate"] == "snaps"))
    parts += _pass(result["barrier"], result["ways"], present["fate"] == "snaps")
    parts += [Text(f"- {way['sentence']}") for way in result["ways"] if not _crossed(way)]
    parts += [Text(f"- {one['sentence']}") for one in (*result["slips"], *result["guided_pushes"])]
    cells = f"{result['accuracy']['coarse_cells']} and {result['accuracy']['cells']} cells"
    return Group(*parts, f"from {cells}", Text("\n".join(result["limits"])), cautions())


def _ways(ways: list[dict[str, Any]], snaps_now: bool) -> RenderableType:
    heading = "no snap beyond" if snaps_now else "snaps beyond"
    table = Table("way", title_justify="left")
    headings = (heading, "axis from\nvertical\ndeg", "hand at most", "at", "hand's torque\nzero at")
    for one in (*headings, "looked\nup to"):
        table.add_column(one, justify="right")
    for way in ways:
        tilt = way["kind"] == "tilt"
        unit, scale, shown = ("deg", 1.0, "deg") if tilt else ("m", 1e3, "mm")
        key = "safe_from" if snaps_now else "snaps_beyond"
        place = way["place"]
        effort = way["peak_hand_torque_Nm"] if tilt else way["peak_hand_force_N"]
        table.add_row(
            escape(way["way"]),
            limit_words(way, key, unit, scale, shown),
            "" if place is None else plain(round(place["axis_from_vertical_deg"], 2)),
            f"{plain(effort)} {'N m' if tilt else 'N'}",
            f"{plain(round(scale * way[f'peak_at_{unit}'], 2))} {shown}",
            _bar(way, "hand_torque_zero", unit, scale, shown) if tilt else "",
            f"{plain(round(scale * way[f'searched_{unit}'], 1))} {shown}",
        )
    return table


def _crossed(way: dict[str, Any]) -> bool:
    """Whether the table says all of a way: a threshold that no release took back."""
    return bool(way["decided_by_code"] == Decider.SLOW_FALL)


def limit_words(way: dict[str, Any], key: str, unit: str, scale: float, shown: str) -> str:
    """Return a way's threshold with its bar, or what releases take it back to."""
    if way["decided_by_code"] != Decider.RELEASE:
        return _bar(way, key, unit, scale, shown)
    edge = way[f"{'no_snap' if key == 'safe_from' else 'may_snap'}_from_{unit}"]
    return "none safe" if edge is None else f"{plain(round(scale * edge, 2))} {shown}, by release"


def _bar(way: dict[str, Any], key: str, unit: str, scale: float, shown: str) -> str:
    value, error = way.get(f"{key}_{unit}"), way.get(f"{key}_error_{unit}")
    if value is None or error is None:
        return (
            "-" if way.get(f"searched_{unit}") is None or key == "hand_torque_zero" else "not found"
        )
    return f"{plain(round(scale * value, 2))} +- {plain(round(scale * error, 2))} {shown}"


def _pass(
    barrier: dict[str, Any] | None, ways: list[dict[str, Any]], snaps_now: bool
) -> list[RenderableType]:
    if barrier is None:
        return ["no pass to a magnet was found as far as these ways were followed"] if ways else []
    if not snaps_now and barrier["energy_J"] + barrier["energy_error_J"] < 1e-9:
        return ["friction or balance alone holds it: no pass in energy lies before the magnet"]
    most = "" if barrier["single_pass"] else "at most "
    energy = f"{most}{plain(barrier['energy_J'])} +- {plain(barrier['energy_error_J'])} J"
    speed, force = plain(barrier["nudge_speed_m_s"]), plain(barrier["hand_force_N"])
    whence = "the rest it would fall back to" if snaps_now else "its rest"
    line = f"barrier from {whence}: {energy}, a nudge of {speed} m/s, steepest {force} N;"
    line += f" it goes over: {barrier['leaves_along']}"
    above = barrier["above_present_J"]
    if above is not None and not snaps_now:
        side = "above" if above >= 0 else "below"
        line += f"\nthe pass is {plain(abs(above))} J {side} the present pose in energy"
    return [line]


def _three(values: list[float | None]) -> str:
    return "(" + ", ".join(plain(round(v, 3)) if v is not None else "-" for v in values) + ")"
