"""What happens where two bodies touch: restitution, friction and the air gap that stays.

Energetic restitution e: of the work done in compression, the share e^2 is given back (Stronge,
Impact Mechanics, 2nd ed. 2018, ch. 3; from memory). Friction: Coulomb, one coefficient for
sticking and sliding. Air gap: thickness of coating or tape that keeps the bodies apart.
"""

from __future__ import annotations

from dataclasses import dataclass, field


@dataclass(frozen=True)
class SurfacePair:
    """Properties of one pair: `restitution` 0..1, `friction` >= 0, `air_gap` [m] >= 0."""

    restitution: float = 0.3
    friction: float = 0.35
    air_gap: float = 0.0


@dataclass(frozen=True)
class SurfaceRules:
    """The default pair and the exceptions, keyed by the two body indices, lower one first."""

    default: SurfacePair = SurfacePair()
    exceptions: dict[tuple[int, int], SurfacePair] = field(default_factory=dict)

    def pair(self, a: int, b: int) -> SurfacePair:
        """Return the properties between bodies number `a` and `b`."""
        return self.exceptions.get((min(a, b), max(a, b)), self.default)
