"""A magnet's remanence from one reading: of a gaussmeter at a stated point, or of a scale.

    field: B(x) . u, or |B(x)| without a direction        [T]
    pull:  P = -(F + m g) . u, u the way that the scale draws, by default against the pull F  [N]

A reading rises with the remanence J of the magnet's material, saturated iron or not, so J is found
by bracketing (`scipy.optimize.brentq`), all bodies of the material having it. The interval is what
the reading's error, the point's and the cells' leave, added up, over the slope at J. Not in it:
uneven magnetisation, the curve of iron, warmth.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from snapsim.arrays import Array
from snapsim.errors import InputError
from snapsim.landscape.field_at import field_at
from snapsim.simulation.overlap import refuse_overlaps
from snapsim.simulation.pose_accuracy import PoseAccuracy
from snapsim.simulation.system import System

LEAST: Final = 0.02
MOST: Final = 2.0
"""Remanences [T] between which one is looked for; rubber ferrite has 0.2, the best NdFeB 1.5."""

FINE: Final = 1e-5
STEP: Final = 0.01

Instrument = Callable[[System], tuple[float, float]]
"""What an instrument would show in a system, and by how much cells may leave that off."""


@dataclass(frozen=True)
class Calibration:
    """Of a `material` the `remanence` [T] before and as found, from `low` to `high`; shares of the
    half width [T] that the instrument, its place and the cells have."""

    material: str
    before: float
    remanence: float
    of_reading: float
    of_place: float
    of_cells: float

    @property
    def half_width(self) -> float:
        """Half the interval's width [T]."""
        return self.of_reading + self.of_place + self.of_cells

    @property
    def low(self) -> float:
        """Lower end [T]."""
        return self.remanence - self.half_width

    @property
    def high(self) -> float:
        """Upper end [T]."""
        return self.remanence + self.half_width


def calibrated(
    system: System,
    magnet: str,
    reading: Instrument,
    shown: float,
    error: float,
    place: Instrument | None,
) -> Calibration:
    """Return the remanence at which `reading` is `shown`, known to `error`; `place` says how far it
    differs where the instrument may stand. Raises InputError for a body that is no permanent
    magnet, and for a reading that no remanence gives."""
    refuse_overlaps(system)
    body = system.bodies[system.number(magnet, "--magnet")]
    if not body.is_permanent or body.material.remanence is None:
        raise InputError(f'"{magnet}" is no permanent magnet', key="--magnet")
    name = body.material.name

    def off(remanence: float) -> float:
        return reading(with_remanence(system, name, remanence))[0] - shown

    ends = off(LEAST), off(MOST)
    if ends[0] * ends[1] > 0:
        given = sorted((ends[0] + shown, ends[1] + shown))
        raise InputError(
            f"is reached by no remanence: {LEAST:g} to {MOST:g} T give {given[0]:.4g} to"
            f" {given[1]:.4g} here, in SI units; look at the place, the direction and the sign",
            key="the reading",
        )
    from scipy.optimize import brentq

    found = float(brentq(off, LEAST, MOST, xtol=FINE))
    there = with_remanence(system, name, found)
    slope = abs(off(found * (1 + STEP)) - off(found * (1 - STEP))) / (2 * STEP * found)
    moved = 0.0 if place is None else place(there)[0]
    parts = (error, moved, reading(there)[1])
    return Calibration(name, body.material.remanence, found, *(p / slope for p in parts))


def with_remanence(system: System, material: str, remanence: float) -> System:
    """Return the system with another remanence [T] of all bodies of a material."""
    bodies = [
        replace(b, material=replace(b.material, remanence=remanence))
        if b.material.name == material
        else b
        for b in system.bodies
    ]
    return replace(system, bodies=tuple(bodies))


def gaussmeter(point: Array, along: Array | None) -> Instrument:
    """Return the reading [T] at a world point (3,) [m], along a unit vector or of any direction."""

    def reading(system: System) -> tuple[float, float]:
        value = _shown(field_at(system, point)[0], along)
        if not any(b.is_soft for b in system.bodies):
            return value, 0.0
        other = replace(system, detail="normal" if system.detail == "draft" else "draft")
        return value, abs(value - _shown(field_at(other, point)[0], along))

    return reading


def misplaced(point: Array, along: Array | None, distance: float) -> Instrument:
    """Return by how much [T] the reading differs at most `distance` [m] off along the axes."""

    def reading(system: System) -> tuple[float, float]:
        steps = distance * np.concatenate([np.zeros((1, 3)), np.eye(3), -np.eye(3)])
        shown = np.array([_shown(b, along) for b in field_at(system, point + steps)])
        return float(np.abs(shown - shown[0]).max()), 0.0

    return reading


def _shown(field: Array, along: Array | None) -> float:
    return float(np.linalg.norm(field)) if along is None else float(field @ along)


def scale(number: int, along: Array | None) -> Instrument:
    """Return the reading [N] of a scale that draws body `number` off where it is placed."""

    def reading(system: System) -> tuple[float, float]:
        told = PoseAccuracy(system).at(system.start.pose).force
        pull, error = told.value[number], float(told.error[number])
        way = -pull / np.linalg.norm(pull) if along is None else along
        weight = system.bodies[number].mass * system.gravity
        return -float((pull + weight) @ way), error

    return reading
