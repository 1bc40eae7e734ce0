"""Blows in a run file: those of the run itself, and the hardest of each of its twins."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import h5py
import numpy as np

from snapsim.arrays import Array
from snapsim.simulation.trajectory import Impact
from snapsim.storage import columns
from snapsim.storage.datasets import floats, put, put_text, scale, texts


def write_impacts(group: h5py.Group, impacts: Sequence[Impact]) -> None:
    """Write blows into an empty group."""
    numbers = put(group, "number", np.arange(len(impacts)), "1", "number of the blow")
    blow = ("impact", scale(numbers, "impact"))
    put_text(group, "body", [i.body for i in impacts], "the moving body", [blow])
    put_text(group, "against", [i.against for i in impacts], "what it struck", [blow])
    for name, (units, description) in columns.IMPACT.items():
        values = np.array([getattr(i, name) for i in impacts], dtype=np.float64)
        if not impacts and name in columns.BANDS:
            values = values.reshape(0, columns.BANDS[name])
        put(group, name, values, units, description, [blow])


def read_impacts(group: h5py.Group) -> tuple[Impact, ...]:
    """Return the blows; raises KeyError, TypeError or ValueError where they are damaged."""
    bodies, against = texts(group, "body"), texts(group, "against")
    table = {name: floats(group, name) for name in columns.IMPACT if name in group}
    return tuple(
        Impact(
            time=float(table["time"][i]),
            body=bodies[i],
            against=against[i],
            point=table["point"][i].copy(),
            normal=table["normal"][i].copy(),
            closing_speed=float(table["closing_speed"][i]),
            kinetic_energy=float(table["kinetic_energy"][i]),
            effective_mass=float(table["effective_mass"][i]),
            effective_energy=float(table["effective_energy"][i]),
            impulse=float(table["impulse"][i]),
            peak_force=_band(table["peak_force"][i]),
            **_later(table, i),
        )
        for i in range(len(bodies))
    )


def _later(table: dict[str, Array], i: int) -> dict[str, Any]:
    """What blow `i` of an older file lacks."""
    if "area" not in table:
        return {}
    chances = {"chipping": tuple(map(float, table["chipping"][i]))} if "chipping" in table else {}
    found: dict[str, Any] = {
        **chances,
        "area": float(table["area"][i]),
        "edge_stress": _band(table["edge_stress"][i]),
        "magnet_strength": float(table["magnet_strength"][i]),
    }
    if "fastest" in table:
        found["fastest"] = float(table["fastest"][i])
        found["struck_through"] = bool(table["struck_through"][i])
    if "jammed" in table:
        found["jammed"] = bool(table["jammed"][i])
    return found


def _band(pair: Array) -> tuple[float, float]:
    return float(pair[0]), float(pair[1])
