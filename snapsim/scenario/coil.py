"""A coil as the author writes it: `turns` and `current` of a body, from SI numbers to a `Coil`."""

from __future__ import annotations

import math
from typing import Final

import numpy as np

from snapsim.errors import InputError, label
from snapsim.parts.bodies import Body
from snapsim.parts.windings import Coil, winding_of
from snapsim.scenario.body import BodyDescription

MOST_STEPS: Final = 2000
"""Steps that the current may take in a run."""

STRONGEST: Final = 100.0
"""Flux density [T] of the long solenoid that a coil may be: more bursts any."""


def coil_of(described: BodyDescription, body: Body, file: str) -> Coil:
    """Return what a body's coil carries; raises InputError for what can be none."""
    key = f"body.{label(described.name)}"
    winding = winding_of(body.shape)
    if winding is None:
        problem = f"is given, but a {body.shape.kind} is no coil's shape; a ring or a frame is"
        raise InputError(problem, file=file, key=f"{key}.turns")
    if body.is_permanent or body.is_soft:
        problem = f'is "{body.material.name}"; a coil is wound of what is not magnetic,'
        raise InputError(f'{problem} like "copper winding"', file=file, key=f"{key}.material")
    coil = _switched_off(_coil(described), described.switch_off)
    if len(coil.moments) > MOST_STEPS:
        problem = f"changes in {len(coil.moments)} steps; {MOST_STEPS} are allowed"
        raise InputError(problem, file=file, key=f"{key}.current")
    turns = coil.turns / (2.0 * winding.half_length)
    most = 4e-7 * math.pi * turns * float(np.abs(coil.current).max())
    if most > STRONGEST:
        problem = f"makes some {most:.3g} T; up to {STRONGEST:g} T is allowed"
        raise InputError(problem, file=file, key=f"{key}.current")
    return coil


def _coil(described: BodyDescription) -> Coil:
    assert described.turns is not None
    assert described.current is not None
    rows = np.array(described.current, dtype=np.float64)
    return Coil(described.turns, rows[:, 0].copy(), rows[:, 1].copy())


def _switched_off(coil: Coil, moment: float | None) -> Coil:
    """The same with no current from a moment on."""
    if moment is None:
        return coil
    before = coil.time < moment
    last = Coil(coil.turns, coil.time[before], coil.current[before])
    until = coil.at(moment * (1 - 1e-12)) if before.any() else float(coil.current[0])
    return Coil(
        coil.turns,
        np.concatenate([last.time, [moment, moment]]),
        np.concatenate([last.current, [until, 0.0]]),
    )
