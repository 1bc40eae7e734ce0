"""What happens where two bodies touch: restitution, friction and the air gap that stays.

Energetic restitution e: of the work done in compression, the share e^2 is given back (Stronge,
Impact Mechanics, 2nd ed. 2018, ch. 3; from memory). It may fall with the closing speed V:

    e(V) = e_0 min(1, (V_y/V)^(1/4)),    V_y [m/s] the speed above which the blow is plastic

the power law of fully plastic impact, e ~ V^(-1/4) (Johnson, Contact Mechanics, 1985, section 11.5;
from memory), set on at V_y, which is to be measured: the first yield of a sharp calculation lies
lower, and between the two e falls more slowly than this. Without V_y, e = e_0. Friction: Coulomb,
one coefficient for sticking and sliding. Air gap: thickness of coating or tape that keeps the
bodies apart.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field


@dataclass(frozen=True)
class SurfacePair:
    """Properties of one pair: `restitution` 0..1, `friction` >= 0, `air_gap` [m] >= 0, and
    `yield_speed` [m/s] > 0, above which restitution falls. `of_materials`: restitution follows from
    materials, mass and speed (`mechanics.material_restitution`) in place of these two."""

    restitution: float = 0.3
    friction: float = 0.35
    air_gap: float = 0.0
    yield_speed: float = math.inf
    of_materials: bool = False

    def restitution_at(self, closing_speed: float) -> float:
        """Return the restitution of a blow at `closing_speed` [m/s], never above `restitution`."""
        if closing_speed <= self.yield_speed:
            return self.restitution
        return float(self.restitution * (self.yield_speed / closing_speed) ** 0.25)


@dataclass(frozen=True)
class SurfaceRules:
    """The default pair and the exceptions, keyed by the two body indices, lower one first."""

    default: SurfacePair = SurfacePair()
    exceptions: dict[tuple[int, int], SurfacePair] = field(default_factory=dict)

    def pair(self, a: int, b: int) -> SurfacePair:
        """Return the properties between bodies number `a` and `b`."""
        return self.exceptions.get((min(a, b), max(a, b)), self.default)
