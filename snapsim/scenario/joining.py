"""From joint descriptions to joints: numbers for names, and whether they fit at the start."""

from __future__ import annotations

import numpy as np

from snapsim.errors import InputError, label
from snapsim.mechanics.joints import STILL, WORLD, Joint, Side
from snapsim.numerics import rotations
from snapsim.parts.bodies import Body
from snapsim.parts.states import State
from snapsim.scenario.fastening import Fastening
from snapsim.scenario.joint import WORLD as WORLD_NAME
from snapsim.scenario.joint import JointDescription


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
    first, second = (_number(end, bodies) for end in one.between)
    still = (_is_still(first, bodies), _is_still(second, bodies))
    if all(still):
        problem = "joins two things that never move; one of them must be free"
        raise InputError(problem, file=file, key=f"{key}.between")
    sides = (_side(first, start), _side(second, start))
    return one.joint(Fastening(name, (first, second), still, sides, np.array(one.at), file, key))


def _is_still(number: int, bodies: tuple[Body, ...]) -> bool:
    return number == WORLD or bodies[number].fixed


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
