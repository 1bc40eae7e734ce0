"""Bodies must not start inside each other: no force, field or contact would mean anything there.

Every pair counts. Two fixed bodies of which one carries no magnetisation (a magnet let into an oak
table) may share a place: nothing presses them apart, and what moves meets the union of both. Two
that are magnetised may not, fixed or not: the field would be that of both materials in one place.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np

from snapsim.errors import InputError, label
from snapsim.mechanics.separating_axis import gap_bound
from snapsim.parts.bodies import Body
from snapsim.parts.states import Pose
from snapsim.simulation.system import System

TOLERANCE = 1e-6
"""Depth [m] up to which an overlap is rounding of what the author wrote, and let pass."""


@dataclass(frozen=True)
class Overlap:
    """Two bodies, by name, that start too close.

    `gap` [m] is the true one, negative where one is inside the other; `air_gap` [m] is what their
    surfaces should keep between them, zero for two fixed bodies. `borne`: nothing computed is
    wrong by it. `fixed`: both are.
    """

    body: str
    other: str
    gap: float
    air_gap: float
    fixed: bool = False
    borne: bool = False

    @property
    def depth(self) -> float:
        """How much the true gap falls short of what it should be [m]."""
        return self.air_gap - self.gap

    def __str__(self) -> str:
        names = f'"{self.body}" and "{self.other}"'
        if self.gap < -TOLERANCE:
            return f"{names} overlap by {-1e3 * self.gap:.4g} mm"
        apart, due = max(0.0, 1e3 * self.gap), 1e3 * self.air_gap
        return f"{names} are {apart:.4g} mm apart, less than their air_gap {due:.4g} mm,"


class OverlapError(InputError):
    """Bodies start inside each other; `worst` is the pair that does so deepest."""

    def __init__(self, worst: Overlap, more: int, file: str) -> None:
        self.worst = worst
        others = f" ({more} more such pairs)" if more else ""
        rule = "bodies may touch but not overlap"
        if worst.fixed:
            rule += "; both are magnetised, so their field would be wrong"
        super().__init__(
            f"{worst} at the start{others}; {rule}",
            file=file or None,
            key=f"body.{label(worst.body)}.position",
        )


def overlaps(system: System) -> tuple[Overlap, ...]:
    """Return every pair that starts too close by more than `TOLERANCE`, borne ones too."""
    close = close_pairs(system)
    if not close:
        return ()
    from snapsim.mechanics.contact import ContactGeometry  # compiled, needed for few scenes

    loose = [replace(body, fixed=False) for body in system.bodies]
    geometry = ContactGeometry(loose, system.surfaces)
    order = {(a, b): k for k, (a, b) in enumerate(geometry.pairs.tolist())}
    chosen = np.array([order[pair] for pair in close])
    gaps = geometry.gaps(system.start.pose, chosen)  # what is left of the air gap
    found = [_overlap(system, *pair, left) for pair, left in zip(close, gaps.tolist(), strict=True)]
    return tuple(o for o in found if o.depth > TOLERANCE)


def close_pairs(system: System) -> list[tuple[int, int]]:
    """Return the pairs of bodies, by number, that no plane is known to lie between at the start.

    Whether these overlap takes compiled code to say.
    """
    return [p for p in combinations(range(len(system.bodies)), 2) if _close(system, *p)]


def _close(system: System, a: int, b: int) -> bool:
    pose, pair = system.start.pose, [a, b]
    placed = Pose(pose.position[pair], pose.quaternion[pair])
    air = system.surfaces.pair(a, b).air_gap
    return gap_bound((system.bodies[a], system.bodies[b]), placed) - air < -TOLERANCE


def _overlap(system: System, a: int, b: int, left: float) -> Overlap:
    one, other = system.bodies[a], system.bodies[b]
    air = system.surfaces.pair(a, b).air_gap
    fixed = one.fixed and other.fixed
    return Overlap(
        one.name,
        other.name,
        left + air,
        0.0 if fixed else air,
        fixed,
        fixed and not (_magnetised(one) and _magnetised(other)),
    )


def _magnetised(body: Body) -> bool:
    return body.is_magnet or body.is_soft


def refuse_overlaps(system: System, without: int | None = None) -> tuple[Overlap, ...]:
    """Return the overlaps that are borne; raise OverlapError naming the deepest of all others.

    Overlaps of body number `without` are let pass: it is about to be put elsewhere.
    """
    name = None if without is None else system.bodies[without].name
    every = overlaps(system)
    found = [o for o in every if not o.borne and name not in (o.body, o.other)]
    if found:
        raise OverlapError(max(found, key=lambda o: o.depth), len(found) - 1, system.file)
    return tuple(o for o in every if o.borne)
