"""Where a scene's stray field meets published limits: JSON and words for `check` and the report."""

from __future__ import annotations

import hashlib
import json
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import numpy as np

from snapsim.analysis.figures import number, numbers
from snapsim.numerics.kept_files import kept_folder, make_room, read_sealed, write_sealed
from snapsim.numerics.program import program_identity
from snapsim.simulation.system import System

LARGEST_TOTAL: Final = 10_000_000
"""Bytes that all kept entries may take: a scene's are two thousand."""

UNUSED_DAYS: Final = 60.0
"""Days after which entries that nobody asked for are deleted."""


@dataclass(frozen=True)
class FieldLimit:
    """A flux density [T], or what may be at most at a distance [m], and where it comes from."""

    name: str
    flux_density: float
    source: str
    distance: float | None = None


LIMITS = (
    FieldLimit(
        "active implants: pacemakers, pumps",
        0.5e-3,
        "IEC 60601-2-33:2010, controlled access (secondary source); EU directive 2013/35"
        " (from memory)",
    ),
    FieldLimit(
        "active implants, newer line",
        0.9e-3,
        "IEC 60601-2-33:2022, aligned with ISO 14117 (secondary source); national rules may still"
        " say 0.5 mT",
    ),
    FieldLimit("loose iron may be pulled along", 3e-3, "EU directive 2013/35 (from memory)"),
)
AIR_FREIGHT = (
    FieldLimit(
        "air freight: magnetised goods from here on", 0.2e-6,
        "IATA packing instruction 953 (secondary sources)", 2.1,
    ),
    FieldLimit(
        "air freight: refused from here on", 0.525e-6,
        "IATA packing instruction 953; 49 CFR 173.21(d) (secondary sources)", 4.6,
    ),
)  # fmt: skip


def stray_summary(system: System) -> list[dict[str, Any]]:
    """Return one entry a limit: its distance from the magnets' centre, or the field at one [SI].

    Empty without a magnet. Air freight is judged as placed and unpacked. Computing it takes longer
    than all else that `check` does, so what was found is kept on disk, for the same scene and the
    same program.
    """
    program = program_identity()
    path = _kept_at(system, program)
    kept = None if path is None else read_sealed(path)
    if kept is not None:
        found: list[dict[str, Any]] = json.loads(kept)
        return found
    found = _computed(system)
    if path is not None and program_identity() == program:
        with suppress(OSError):
            write_sealed(path, json.dumps(found).encode())
            make_room(path.parent.iterdir(), LARGEST_TOTAL, UNUSED_DAYS)
    return found


def _kept_at(system: System, program: str) -> Path | None:
    """The file of a scene's entries, if it may have one: a system made by hand has no text."""
    folder = kept_folder("stray-fields")
    if folder is None or not system.resolved:
        return None
    asked = repr((program, system.resolved, LIMITS, AIR_FREIGHT))
    return folder / f"{hashlib.sha256(asked.encode()).hexdigest()[:40]}.json"


def _computed(system: System) -> list[dict[str, Any]]:
    from snapsim.run.first_use import FIELDS, prepare
    from snapsim.simulation.stray_field import stray_field

    prepare(*FIELDS)
    limits = np.array([x.flux_density for x in LIMITS])
    found = stray_field(system, limits, np.array([x.distance for x in AIR_FREIGHT]))
    if found is None:
        return []
    reached = [
        {
            "name": limit.name,
            "limit_T": limit.flux_density,
            "distance_m": number(found.reach[i]),
            "direction": numbers(found.direction[i]),
            "source": limit.source,
        }
        for i, limit in enumerate(LIMITS)
    ]
    freight = [
        {
            "name": limit.name,
            "limit_T": limit.flux_density,
            "at_m": limit.distance,
            "field_T": number(found.largest[i]),
            "source": limit.source,
        }
        for i, limit in enumerate(AIR_FREIGHT)
    ]
    return [*reached, *freight]


def stray_lines(entries: list[dict[str, Any]]) -> list[str]:
    """Return one sentence an entry."""
    return [_line(e) for e in entries]


def _line(e: dict[str, Any]) -> str:
    if "distance_m" in e:
        return (
            f"{e['name']}: {1e3 * e['limit_T']:g} mT is met out to {e['distance_m']:.2f} m from the"
            f" magnets' centre, unshielded and as placed [{e['source']}]"
        )
    sign = "above" if e["field_T"] > e["limit_T"] else "below"
    return (
        f"{e['name']}: {1e6 * e['field_T']:.3g} uT at {e['at_m']:g} m unpacked, {sign} the limit of"
        f" {1e6 * e['limit_T']:g} uT [{e['source']}]"
    )
