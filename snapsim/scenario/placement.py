"""Bodies must not start inside each other: no force or contact would mean anything there."""

from __future__ import annotations

from dataclasses import dataclass

from snapsim.errors import InputError
from snapsim.scenario.explain import label
from snapsim.simulation.system import System

TOLERANCE = 1e-6
"""Depth [m] up to which an overlap is rounding of what the author wrote, and let pass."""


@dataclass(frozen=True)
class Overlap:
    """Two bodies, by name, and how deep one is in the other [m]."""

    body: str
    other: str
    depth: float


def overlaps(system: System) -> tuple[Overlap, ...]:
    """Return every pair of bodies that starts deeper in each other than `TOLERANCE`."""
    from snapsim.mechanics.contact import ContactGeometry

    geometry = ContactGeometry(system.bodies, system.surfaces)
    gaps = geometry.gaps(system.start.pose)
    names = [b.name for b in system.bodies]
    return tuple(
        Overlap(names[int(a)], names[int(b)], -float(gap))
        for (a, b), gap in zip(geometry.pairs, gaps, strict=True)
        if gap < -TOLERANCE
    )


def refuse_overlaps(system: System) -> None:
    """Raise InputError naming the two bodies that overlap deepest at the start."""
    found = overlaps(system)
    if not found:
        return
    worst = max(found, key=lambda o: o.depth)
    more = f" ({len(found) - 1} more such pairs)" if len(found) > 1 else ""
    raise InputError(
        f'"{worst.body}" and "{worst.other}" overlap by {1e3 * worst.depth:.4g} mm at the start'
        f"{more}; bodies may touch but not overlap",
        file=system.file or None,
        key=f"body.{label(worst.body)}.position",
    )
