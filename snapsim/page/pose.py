"""A part's pose as people type it: millimetres, and turns about x, then y, then z (world axes).

    q = q_z(c) q_y(b) q_x(a),      R = R_z(c) R_y(b) R_x(a)

the scene's own `rotation` list of three turns; angles follow from R (Diebel, Representing Attitude,
2006, section 5.6.1, from memory): b = -asin R_20, a = atan2(R_21, R_22), c = atan2(R_10, R_00).
At b = +-90 deg only a -+ c is fixed; c = 0 is taken. Kept rounded, so that what a field shows, what
a command line says and what is computed are one and the same.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from snapsim.arrays import Array
from snapsim.errors import InputError, label
from snapsim.landscape.place import Place
from snapsim.numerics import rotations
from snapsim.scenario.quantities import ANGLE, LENGTH, parse

DIGITS = 6
"""Decimals of a millimetre and of a degree that are kept: nanometres."""

FIELDS = ("x", "y", "z", "about_x", "about_y", "about_z")

FARTHEST = 10.0
"""Largest coordinate [m] that a part may be dragged or typed to."""


@dataclass(frozen=True)
class TypedPose:
    """`position` (3) [mm] and `turns` (3) [deg] about x, y, z in this order."""

    position: tuple[float, ...]
    turns: tuple[float, ...]

    @property
    def place(self) -> Place:
        """The same in SI."""
        return Place(np.array(self.position) * 1e-3, quaternion_of(np.radians(self.turns)))

    def changes(self, body: str) -> list[str]:
        """Return the `--set` texts that bring `body` here."""
        key = f"body.{label(body)}"
        x, y, z = (plain(c) for c in self.position)
        turns = ", ".join(
            f'{{axis = "{axis}", angle = "{plain(angle)} deg"}}'
            for axis, angle in zip("xyz", self.turns, strict=True)
            if angle
        )
        return [f'{key}.position="{x}, {y}, {z} mm"', f"{key}.rotation=[{turns}]"]

    def with_field(self, field: str, text: str) -> TypedPose:
        """Return the pose with "x", "y", "z", "about_x" ... as typed; raises InputError."""
        if field not in FIELDS:
            raise InputError(f"is no field; fields are {', '.join(FIELDS)}", key=label(field))
        axis = "xyz".index(field[-1])
        try:
            turn = field.startswith("about_")
            value = parse(with_unit(text, "deg" if turn else "mm"), ANGLE if turn else LENGTH)[0]
        except ValueError as error:
            raise InputError(str(error), key=field) from None
        old = list(self.turns if turn else self.position)
        old[axis] = float(np.degrees(value)) if turn else 1e3 * value
        if not turn and abs(value) > FARTHEST:
            raise InputError(f"is {text}; must be within {FARTHEST:g} m", key=field)
        numbers = tuple(round(v, DIGITS) for v in old)
        return TypedPose(self.position, numbers) if turn else TypedPose(numbers, self.turns)


def with_unit(text: str, unit: str) -> str:
    """Return what was typed without quotes around it; a plain number gets the field's own unit."""
    bare = text.strip().strip("\"'").strip()
    try:
        float(bare)
    except ValueError:
        return bare
    return f"{bare} {unit}"


def typed(place: Place) -> TypedPose:
    """Return a place as it would be typed."""
    position = np.clip(1e3 * place.position, -1e3 * FARTHEST, 1e3 * FARTHEST)
    return TypedPose(
        tuple(round(float(v), DIGITS) + 0.0 for v in position),
        tuple(round(float(v), DIGITS) + 0.0 for v in np.degrees(turns_of(place.quaternion))),
    )


def quaternion_of(turns: Array) -> Array:
    """Return the quaternion (4,) of turns (3,) [rad] about x, then y, then z."""
    total = rotations.IDENTITY
    for axis, angle in zip(np.eye(3), turns, strict=True):
        total = rotations.multiply(rotations.from_axis_angle(axis, float(angle)), total)
    return rotations.normalise(total)


def turns_of(quaternion: Array) -> Array:
    """Return turns (3,) [rad] about x, then y, then z that give a quaternion (4,)."""
    r = rotations.matrix(quaternion)
    b = -np.arcsin(np.clip(r[2, 0], -1.0, 1.0))
    if abs(r[2, 0]) > 1 - 1e-12:
        return np.array([np.arctan2(-r[1, 2], r[1, 1]), b, 0.0])
    return np.array([np.arctan2(r[2, 1], r[2, 2]), b, np.arctan2(r[1, 0], r[0, 0])])


def plain(value: float) -> str:
    """Return a number without an exponent or needless zeros."""
    text = f"{value:.{DIGITS}f}".rstrip("0").rstrip(".")
    return "0" if text in ("-0", "") else text
