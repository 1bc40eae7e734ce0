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
    """Two bodies, by name, that start too close.

    `gap` [m] is the true one, negative where one is inside the other; `air_gap` [m] is what their
    surfaces should keep between them.
    """

    body: str
    other: str
    gap: float
    air_gap: float

    @property
    def depth(self) -> float:
        """How much the true gap falls short of what it should be [m]."""
        return self.air_gap - self.gap


def overlaps(system: System) -> tuple[Overlap, ...]:
    """Return every pair with a free body in it that starts too close by more than `TOLERANCE`."""
    from snapsim.mechanics.contact import ContactGeometry

    geometry = ContactGeometry(system.bodies, system.surfaces)
    gaps = geometry.gaps(system.start.pose)  # what is left of the air gap
    names = [b.name for b in system.bodies]
    found = []
    for (a, b), left in zip(geometry.pairs.tolist(), gaps.tolist(), strict=True):
        if left < -TOLERANCE:
            air = system.surfaces.pair(a, b).air_gap
            found.append(Overlap(names[a], names[b], left + air, air))
    return tuple(found)


def refuse_overlaps(system: System) -> None:
    """Raise InputError naming the two bodies that overlap deepest at the start."""
    found = overlaps(system)
    if not found:
        return
    worst = max(found, key=lambda o: o.depth)
    more = f" ({len(found) - 1} more such pairs)" if len(found) > 1 else ""
    raise InputError(
        f"{_said(worst)} at the start{more}; bodies may touch but not overlap",
        file=system.file or None,
        key=f"body.{label(worst.body)}.position",
    )


def _said(pair: Overlap) -> str:
    names = f'"{pair.body}" and "{pair.other}"'
    if pair.gap < -TOLERANCE:
        return f"{names} overlap by {-1e3 * pair.gap:.4g} mm"
    apart = max(0.0, 1e3 * pair.gap)
    return f"{names} are {apart:.4g} mm apart, less than their air_gap {1e3 * pair.air_gap:.4g} mm,"
