"""What acts on each part as placed, by whom; the gap at each hand; how far the stray field reaches.

Work for a lane: the force matrix of `landscape.force` on draft cells.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np

from snapsim.analysis.figures import number, numbers
from snapsim.analysis.stray_field import stray_summary
from snapsim.analysis.summary import force_summary
from snapsim.arrays import Array
from snapsim.landscape.force import ForceReport, force
from snapsim.page.jobs import Report
from snapsim.simulation.hands import hand_gaps_as_placed, hand_place
from snapsim.simulation.stray_field import magnets_centre
from snapsim.simulation.system import System
from snapsim.words.accuracy import reads_words

MOST_PAIRS = 12
"""Pairs that are listed, the strongest first."""


def parts_work(given: dict[str, Any], report: Report) -> dict[str, Any]:
    """Return "cards" of the free bodies, "pairs" of bodies that pull on each other, "warnings" of
    gaps that cells do not resolve, "hands" with their gaps, and the "stray" field's reach from
    "centre"."""
    from snapsim.scenario.loading import scene_from_text

    report(0.0, "forces between parts")
    system = scene_from_text(given["text"], given["file"], given["changes"])
    found = force(replace(system, detail="draft"), accuracy=True)
    report(0.5, "stray field")
    centre = magnets_centre(system)
    return {
        "cards": _cards(found),
        "pairs": _pairs(found),
        "warnings": [str(gap) for gap in found.close],
        "hands": hands_view(system),
        "stray": stray_summary(system),
        "centre": None if centre is None else numbers(centre),
    }


def _cards(found: ForceReport) -> list[dict[str, Any]]:
    """One a free body of iron or magnet: what magnets do to it, what other iron does, its weight,
    and by how much the force on it may be off on these cells ("reads").

    What iron does includes what the magnets make of it: without them it does nothing.
    """
    system, cards = found.system, []
    told = force_summary(found)["bodies"]
    magnets = np.array([b.is_magnet for b in system.bodies])
    for i, body in enumerate(system.bodies):
        if body.fixed or not (body.is_soft or body.is_magnet):
            continue
        each = _by(found, i)
        cards.append(
            {
                "name": body.name,
                "index": i,
                "weight_N": number(body.mass * float(np.linalg.norm(system.gravity))),
                "force": numbers(found.force[i]),
                "magnets_N": number(_size(each[magnets].sum(axis=0))),
                "iron_N": number(_size(each[~magnets].sum(axis=0))),
                "reads": reads_words(told[body.name]),
                "low_by": told[body.name]["force_low_by_up_to"],
            }
        )
    return cards


def _by(found: ForceReport, i: int) -> Array:
    """Force (n, 3) [N] on body i by each body."""
    if found.between is None:
        return np.zeros((len(found.system.bodies), 3))
    return found.between[i, :, :3]


def _pairs(found: ForceReport) -> list[dict[str, Any]]:
    """Which two bodies pull or push each other how hard, where one of them may move."""
    system = found.system
    pairs: list[dict[str, Any]] = []
    at = system.start.pose.position
    for i, one in enumerate(system.bodies):
        for j, other in enumerate(system.bodies[:i]):
            size = _size(_by(found, i)[j])
            if (one.fixed and other.fixed) or not size > 0:
                continue
            apart = float(_by(found, i)[j] @ (at[i] - at[j])) > 0
            pairs.append({"of": [other.name, one.name], "force_N": number(size), "apart": apart})
    return sorted(pairs, key=lambda p: -float(p["force_N"]))[:MOST_PAIRS]


def hands_view(system: System) -> list[dict[str, Any]]:
    """Return where hands are, as boxes, and the gap of each to what is nearest."""
    pose = system.start.pose
    found = []
    for gaps in hand_gaps_as_placed(system):
        hand, gap = gaps.hand, float(gaps.gap[0])
        point, turn = hand_place(hand, system, pose.position, pose.quaternion)
        near = int(gaps.nearest[0])
        found.append(
            {
                "name": hand.name,
                "point": numbers(point),
                "quaternion": numbers(turn),
                "span": numbers(hand.span),
                "gap_m": number(gap),
                "to": system.bodies[near].name if near >= 0 else None,
                "matters_m": number(hand.gap),
            }
        )
    return found


def _size(vector: Array) -> float:
    return float(np.linalg.norm(vector))
