"""From joint descriptions to joints: numbers for names, and whether they fit at the start."""

from __future__ import annotations

import numpy as np

from snapsim.arrays import Array
from snapsim.errors import InputError
from snapsim.mechanics.joints import STILL, WORLD, Joint, Side, String, hinge, hold, slide
from snapsim.numerics import rotations
from snapsim.parts.bodies import Body
from snapsim.parts.states import State
from snapsim.scenario.explain import label
from snapsim.scenario.joint import WORLD as WORLD_NAME
from snapsim.scenario.joint import (
    HingeJoint,
    HoldJoint,
    JointDescription,
    SlideJoint,
    StringJoint,
)
from snapsim.scenario.rotation import quaternion_of

FIT = 1e-5
"""How far apart [m] joined points may start: rounding of what the author wrote."""


def joints(
    described: tuple[JointDescription, ...], bodies: tuple[Body, ...], start: State, file: str
) -> tuple[Joint, ...]:
    """Return the joints of a scene whose names are known; raises InputError where one misfits."""
    found: list[Joint] = []
    names = {body.name for body in bodies}
    for number, one in enumerate(described, start=1):
        key = f"joint.{label(one.name)}" if one.name else f"joint[{number}]"
        name = one.name or f"{one.kind}: {one.between[0]} - {one.between[1]}"
        if name in names:
            problem = f'the name "{name}" is taken by a body or another joint; choose another'
            raise InputError(problem, file=file, key=f"{key}.name")
        names.add(name)
        found.append(_joint(one, name, bodies, start, file, key))
    return tuple(found)


def _joint(
    one: JointDescription, name: str, bodies: tuple[Body, ...], start: State, file: str, key: str
) -> Joint:
    numbers = [_number(end, bodies) for end in one.between]
    if all(i == WORLD or bodies[i].fixed for i in numbers):
        problem = "joins two things that never move; one of them must be free"
        raise InputError(problem, file=file, key=f"{key}.between")
    ends = (numbers[0], numbers[1])
    sides = (_side(ends[0], start), _side(ends[1], start))
    points = np.array(one.at)
    if isinstance(one, StringJoint):
        _reaches(one, sides, points, file, key)
        limit = np.inf if one.breaking_load is None else one.breaking_load
        return String(
            name,
            ends,
            points,
            force_limit=limit,
            restitution=one.restitution,
            length=one.length,
        )
    if isinstance(one, HingeJoint):
        _meets(_apart(sides, points), "hinge", file, key)
        return hinge(
            name,
            ends,
            points,
            np.array(one.axis),
            *sides,
            stops=one.stops,
            friction_torque=one.friction_torque or 0.0,
            restitution=one.restitution,
        )
    if isinstance(one, SlideJoint):
        return _slide(one, name, ends, sides, points, file, key)
    return _hold(one, name, ends, sides, points, bodies, file, key)


def _number(name: str, bodies: tuple[Body, ...]) -> int:
    if name == WORLD_NAME:
        return WORLD
    return next(i for i, body in enumerate(bodies) if body.name == name)


def _side(number: int, start: State) -> Side:
    if number == WORLD:
        return STILL
    q = start.pose.quaternion[number]
    return Side(
        start.pose.position[number],
        q,
        rotations.matrix(q),
        start.velocity[number],
        start.spin[number],
    )


def _apart(sides: tuple[Side, Side], points: Array) -> Array:
    """From the second point to the first (3,) [m], world axes."""
    a, b = sides
    apart: Array = a.position + a.turn @ points[0] - b.position - b.turn @ points[1]
    return apart


def _reaches(
    one: StringJoint, sides: tuple[Side, Side], points: Array, file: str, key: str
) -> None:
    distance = float(np.linalg.norm(_apart(sides, points)))
    if distance > one.length + FIT:
        raise InputError(
            f"is {1e3 * one.length:.6g} mm, but its ends start {1e3 * distance:.6g} mm apart;"
            " give at least that, or move a body",
            file=file,
            key=f"{key}.length",
        )


def _meets(apart: Array, what: str, file: str, key: str) -> None:
    distance = float(np.linalg.norm(apart))
    if distance > FIT:
        raise InputError(
            f"gives points that start {1e3 * distance:.4g} mm apart; the two points of a {what}"
            f" must meet there (to {1e3 * FIT:g} mm)",
            file=file,
            key=f"{key}.at",
        )


def _slide(
    one: SlideJoint,
    name: str,
    ends: tuple[int, int],
    sides: tuple[Side, Side],
    points: Array,
    file: str,
    key: str,
) -> Joint:
    apart, axis = _apart(sides, points), np.array(one.axis)
    along = sides[0].turn @ axis
    way = float(along @ apart)
    _meets(apart - way * along, "slide, seen along its axis,", file, key)
    if one.stops is not None and not one.stops[0] - FIT <= way <= one.stops[1] + FIT:
        raise InputError(
            f"do not hold its start at {1e3 * way:.4g} mm along the axis",
            file=file,
            key=f"{key}.stops",
        )
    return slide(
        name,
        ends,
        points,
        axis,
        *sides,
        stops=one.stops,
        friction=one.friction,
        restitution=one.restitution,
    )


def _hold(
    one: HoldJoint,
    name: str,
    ends: tuple[int, int],
    sides: tuple[Side, Side],
    points: Array,
    bodies: tuple[Body, ...],
    file: str,
    key: str,
) -> Joint:
    if ends[0] == WORLD or bodies[ends[0]].fixed:
        problem = "names the held part second; name the free part first, then what holds it"
        raise InputError(problem, file=file, key=f"{key}.between")
    _meets(_apart(sides, points), "hold", file, key)
    a, b = sides
    turn = rotations.multiply(rotations.conjugate(b.quaternion), a.quaternion)
    path = []
    for leg in one.path:
        if leg.rotation or leg.quaternion is not None:
            turn = np.array(quaternion_of(leg.rotation, leg.quaternion))
        path.append((leg.time, np.array(leg.position), turn))
    return hold(
        name,
        ends,
        points,
        a,
        b,
        path=tuple(path),
        until=np.inf if one.until is None else one.until,
        force_limit=np.inf if one.force_limit is None else one.force_limit,
        torque_limit=np.inf if one.torque_limit is None else one.torque_limit,
    )
