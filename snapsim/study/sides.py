"""What lies on each side of a tilt: what becomes of the part that is let go at angles of a turn.

Both senses of a turn are looked at in `STEPS` equal steps each, and once between two that end
otherwise; all free bodies are let go (`letting_go`: draft cells, the pull at the top of its error
bar). What happens between two angles that end alike was not looked at.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import Final

import numpy as np

from snapsim.landscape.confirmation import LetGo
from snapsim.landscape.thresholds import Ways
from snapsim.landscape.tilt_curve import both_senses
from snapsim.landscape.ways import TiltWay
from snapsim.simulation.fate import FateKind
from snapsim.simulation.system import System
from snapsim.study.letting_go import LettingGo
from snapsim.work.progress import Progress

STEPS: Final = 6


@dataclass(frozen=True)
class TurnFates:
    """Releases at `angle` (k) [rad], rising, of a turn, and what became of the parts at each."""

    angle: tuple[float, ...]
    kind: tuple[FateKind, ...]


def sides(system: System, body: int, axis: int = 0, progress: Progress | None = None) -> TurnFates:
    """Return what becomes of body number `body` let go at angles about the `axis`-th axis, from 0;
    raises InputError as `tilt_curve.both_senses` does."""
    tell = progress or (lambda what, done, of_all: None)
    ways = Ways(system, body, lambda what, done, of_all: None)
    whole = both_senses(ways.coarse, ways.constraints, axis)
    found = _Looked(LettingGo(ways, ()), whole.ahead, whole.back)
    angles = [
        *np.linspace(-whole.back.longest, 0.0, STEPS + 1).tolist(),
        *np.linspace(0.0, whole.ahead.longest, STEPS + 1).tolist()[1:],
    ]
    for k, angle in enumerate(angles):
        tell("letting go at angles of the turn", k, len(angles))
        found.look(angle)
    between = found.between()
    for k, angle in enumerate(between):
        tell("between two that end otherwise", k, len(between))
        found.look(angle)
    known = sorted(found.known.items())
    return TurnFates(tuple(a for a, _ in known), tuple(one.kind for _, one in known))


class _Looked:
    def __init__(self, releases: LettingGo, ahead: TiltWay, back: TiltWay) -> None:
        self.releases, self.ahead, self.back = releases, ahead, back
        self.known: dict[float, LetGo] = {}

    def look(self, angle: float) -> None:
        """Let go at an angle; nothing where there is no room."""
        way, s = (self.ahead, angle) if angle >= 0 else (self.back, -angle)
        one = self.releases.on(way, min(s, way.longest))
        if one is not None:
            self.known[angle] = one

    def between(self) -> list[float]:
        """Angles half way between neighbours of which one is safe and the other not."""
        known = sorted(self.known.items())
        pairs = pairwise(known)
        return [0.5 * (a + b) for (a, one), (b, other) in pairs if one.safe is not other.safe]
