"""What ends a flight of jointed bodies: the joints' mode has to change.

A string becomes taut or a stop is reached (a blow follows), a taut string's tension or a stop's
push falls to zero, a bearing stops or breaks loose, a joint bears more than its limit. What a
string or a hold bears is judged by its steady force: a blow has an impulse only.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
from scipy.optimize import brentq

from snapsim.arrays import Array
from snapsim.mechanics.ending import Parting
from snapsim.mechanics.flight import Flight
from snapsim.mechanics.joints.contract import Joint
from snapsim.mechanics.linkage import (
    FRICTION,
    LIMIT,
    STICTION,
    Reactions,
    kept,
    stacked_velocity,
)

OVERRUN: Final = 1e-9
"""How far a one-sided row may be overrun [m, rad] before the flight ends there."""

EIGHTHS: Final = np.arange(9) / 8
"""Shares of a step at which events are looked for."""


@dataclass(frozen=True)
class Change:
    """Why a flight ended: a row goes slack, or a joint parts; a bearing's change needs neither."""

    time: float
    slack: tuple[int, int] | None = None
    parts: int | None = None
    why: Parting | None = None


_Guard = tuple[Literal["slack", "loose"] | Parting, int, int]
"""What a reaction may ask for, of which joint, in which row (0 where it is the whole joint)."""


def change_by(flight: Flight, begin: float, end: float, reactions: Reactions) -> Change | None:
    """Return the first change in the last step that a reaction brings by `end`, from what the
    `reactions` are there; None without one."""
    changes = []
    for key, margin in _guards(flight, reactions).items():
        if margin >= 0:
            continue
        time = _guard_root(flight, key, begin, end)
        kind, joint, row = key
        if kind == "slack":
            changes.append(Change(time, slack=(joint, row)))
        elif kind == "loose":
            changes.append(Change(time))
        else:
            changes.append(Change(time, parts=joint, why=kind))
    return min(changes, key=lambda c: c.time) if changes else None


def row_closes(flight: Flight, begin: float, end: float) -> float | None:
    """Return when in the last step [s] an open row closes or a bearing comes to rest; else None."""
    margins = _row_margins(flight)
    times = begin + (end - begin) * EIGHTHS
    values = np.array([margins(t) for t in times])
    if not values.size:
        return None
    shift = np.minimum(values[0], 0.0) - 1e-15
    crossed = np.flatnonzero(np.any(values[1:] < shift, axis=1))
    if not len(crossed):
        return None
    i = int(crossed[0])
    rows = np.flatnonzero(values[i + 1] < shift)
    roots = [
        brentq(lambda t, k=k: margins(t)[k] - shift[k], times[i], times[i + 1], xtol=1e-13)
        for k in rows
    ]
    return float(min(roots))


def limits_of(
    joint: Joint, force: Array, torque: Array
) -> tuple[tuple[Parting, float, float], ...]:
    """Return what a joint bears by force and torque (3,), and its limit, where there is one."""
    both = (
        (Parting.FORCE_LIMIT, float(np.linalg.norm(force)), joint.force_limit),
        (Parting.TORQUE_LIMIT, float(np.linalg.norm(torque)), joint.torque_limit),
    )
    return tuple(entry for entry in both if np.isfinite(entry[2]))


def _row_margins(flight: Flight) -> Callable[[float], Array]:
    """Margins of open rows and of sliding bearings at a time, negative where the mode changes."""
    linkage, mode = flight.equations.problem.linkage, flight.equations.mode

    def margins(time: float) -> Array:
        state = flight.at(time)
        rows = linkage.rows(state, time, mode.attached)
        chosen = ~kept(rows, mode)
        open_rows = rows.only(chosen & (rows.kind == LIMIT))
        sliding = rows.only(chosen & (rows.kind == FRICTION))
        sense = np.array([mode.slip[int(j)] for j in sliding.joint])
        rate = sliding.jacobian @ stacked_velocity(state)
        return np.concatenate([open_rows.error + OVERRUN, sense * rate + OVERRUN])

    return margins


def _guard_root(flight: Flight, key: _Guard, begin: float, end: float) -> float:
    def margin(time: float) -> float:
        return _guards(flight, flight.reactions(time))[key]

    if margin(begin) <= 0:
        return begin
    return float(brentq(margin, begin, end, xtol=1e-10))


def _guards(flight: Flight, found: Reactions) -> dict[_Guard, float]:
    """Margins [N or N m], negative where a reaction asks for another mode."""
    problem, mode = flight.equations.problem, flight.equations.mode
    slack = 1e-9 * float(np.abs(problem.weight).sum()) + 1e-12
    guards: dict[_Guard, float] = {}
    stack = found.stack
    for i in np.flatnonzero(stack.kind == LIMIT):
        joint, row = int(stack.joint[i]), int(stack.row[i])
        guards["slack", joint, row] = float(found.multiplier[i]) + slack
    for i in np.flatnonzero(stack.kind == FRICTION):
        number = int(stack.joint[i])
        limit = found.friction_limit[number] * (1 + STICTION)
        guards["loose", number, 0] = limit - abs(float(found.multiplier[i])) + slack
    for number in mode.attached:
        borne = found.force[number], found.torque[number]
        for kind, size, limit in limits_of(problem.joints[number], *borne):
            guards[kind, number, 0] = limit - size
    return guards
