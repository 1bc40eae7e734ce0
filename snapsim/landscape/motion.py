"""Small motions in words: "tips about the x axis", "slides toward +x"."""

from __future__ import annotations

import numpy as np

from snapsim.arrays import Array
from snapsim.landscape.constraints import Limits
from snapsim.landscape.place import Place, metric
from snapsim.landscape.symmetry import axis_of, spins_freely
from snapsim.parts.bodies import Body

ALIGNED = 0.97
"""Cosine from which a direction is called by an axis' name."""


def said(direction: Array, place: Place, touching: Limits, body: Body) -> str:
    """Return what a change of place (6,) looks like, in a few words."""
    shift, turn = direction[:3], direction[3:]
    inertia = metric(body, place)[3:, 3:]
    turning = float(turn @ inertia @ turn) > float(shift @ shift)
    if turning:
        return _turn(turn, place, touching, body)
    return _shift(shift, touching, turn, body)


def _turn(turn: Array, place: Place, touching: Limits, body: Body) -> str:
    unit = turn / np.linalg.norm(turn)
    if abs(unit[2]) > ALIGNED:
        return "turns about the vertical"
    if spins_freely(body) and abs(unit @ axis_of(place)) > ALIGNED:
        return "turns about its own axis"
    verb = "tips" if len(touching.gap) else "turns"
    return f"{verb} about the {_axis(unit)} axis"


def _shift(shift: Array, touching: Limits, turn: Array, body: Body) -> str:
    unit = shift / np.linalg.norm(shift)
    where = towards(unit)
    if not len(touching.other):
        along = {"+z": "rises", "-z": "drops"}
        return along.get(
            where, f"swings toward {where}" if len(touching.gap) else f"moves toward {where}"
        )
    return f"slides toward {where}"


def towards(unit: Array) -> str:
    """Return "+x" or the like, or the components of a unit vector (3,)."""
    k = int(np.argmax(np.abs(unit)))
    if abs(unit[k]) > ALIGNED:
        return ("+" if unit[k] > 0 else "-") + "xyz"[k]
    return "(" + ", ".join(f"{c + 0.0:.2f}" for c in np.round(unit, 2)) + ")"


def _axis(unit: Array) -> str:
    k = int(np.argmax(np.abs(unit)))
    if abs(unit[k]) > ALIGNED:
        return "xyz"[k]
    flipped = unit if unit[k] > 0 else -unit
    return towards(flipped)
