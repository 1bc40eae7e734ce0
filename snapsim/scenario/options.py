"""Values of command-line options, read as the scene's own keys are."""

from __future__ import annotations

import numpy as np

from snapsim.arrays import Array
from snapsim.errors import InputError
from snapsim.scenario import quantities
from snapsim.scenario.fields import read_direction

PLANES = ("xy", "xz", "yz")


def quantity(
    text: str, kind: quantities.QuantityKind, key: str, count: int = 1
) -> tuple[float, ...]:
    """Return SI numbers of an option's text; raises InputError naming the option."""
    try:
        return quantities.parse(text, kind, count)
    except ValueError as error:
        raise InputError(str(error), key=key) from None


def lengths(text: str, key: str, count: int) -> tuple[float, ...]:
    """Return positive lengths [m]."""
    values = quantity(text, quantities.LENGTH, key, count)
    if not min(values) > 0:
        raise InputError(f'"{text}" must be greater than zero', key=key)
    return values


def length(text: str, key: str) -> float:
    """Return a positive length [m]."""
    return lengths(text, key, 1)[0]


def direction(text: str, key: str) -> Array:
    """Return a unit vector (3,) of "-z" or "0.1, 0, 1"."""
    try:
        return np.array(read_direction(text))
    except ValueError as error:
        raise InputError(str(error), key=key) from None


def plane(text: str, key: str) -> tuple[int, int]:
    """Return the numbers of the two world axes of "xz" and the like."""
    if text not in PLANES:
        raise InputError(f'"{text}" is no plane; allowed: {", ".join(PLANES)}', key=key)
    return "xyz".index(text[0]), "xyz".index(text[1])
