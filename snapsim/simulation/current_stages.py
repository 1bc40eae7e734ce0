"""Loads while coils' currents change: a stage for each time in which they stand still.

A current that changes along a slope goes in steps (`windings.STEPS`), each with the current of its
middle: loads then depend on the pose alone within a stage, saturated iron or not, what is solved in
a stage serves it alone, and a change is a moment at a fixed pose. There the magnetic energy changes
without work of the field: what the coils' supply gives or takes. Stages of the same currents share
their loads. Eddy currents that a change induces are left out, and the time that a current takes to
follow its supply.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from snapsim.arrays import Array
from snapsim.errors import InputError, label
from snapsim.parts.bodies import Body
from snapsim.parts.windings import Coil
from snapsim.simulation.loads import MagneticLoads
from snapsim.simulation.system import System


@dataclass(frozen=True)
class Stage:
    """From `begin` to `end` [s] currents stand still; `middle` [s] is when they are those."""

    begin: float
    end: float
    middle: float


def stages_of(bodies: Sequence[Body]) -> tuple[Stage, ...]:
    """Return the stages of a run in order, the last without end: one where no current changes."""
    times = [0.0, *(t for t in change_moments(bodies).tolist() if t > 0.0)]
    ends = [*times[1:], np.inf]
    middles = [0.5 * (b + e) for b, e in pairwise(times)]
    return tuple(map(Stage, times, ends, [*middles, times[-1] + 1.0]))


def change_moments(bodies: Sequence[Body]) -> Array:
    """Return all moments (m,) [s] at which a coil's current takes a step."""
    coils = [b.coil.moments for b in bodies if b.coil is not None]
    return np.unique(np.concatenate([np.empty(0), *coils]))


def refuse_other_currents(system: System) -> None:
    """Raise InputError where currents later may draw a part harder than those at release: what
    looks at the energy of poses has only these. One coil alone, whose current falls, does not."""
    magnets = [b for b in system.bodies if b.is_magnet]
    for body in magnets:
        if body.coil is None or not len(body.coil.moments):
            continue
        share = body.coil.current * np.sign(body.coil.current[0])
        if len(magnets) > 1 or share.min() < 0 or share.max() > share[0] or share[0] == 0:
            raise InputError(
                "changes after release, and may then draw harder; this looks at one current: give"
                " one, like --set 'body.NAME.current=\"5 A\"'",
                file=system.file or None,
                key=f"body.{label(body.name)}.current",
            )


def standing_at(system: System, time: float) -> System:
    """Return the system with all currents as they are at a moment [s], for good."""
    return replace(system, bodies=tuple(_standing(b, time) for b in system.bodies))


def later_currents(system: System, factor: float) -> System:
    """Return the system with all changes of currents at `factor` times their time."""
    coils = [b.coil and replace(b.coil, time=factor * b.coil.time) for b in system.bodies]
    bodies = zip(system.bodies, coils, strict=True)
    return replace(system, bodies=tuple(replace(b, coil=c) if c else b for b, c in bodies))


def _standing(body: Body, time: float) -> Body:
    if body.coil is None or len(body.coil.time) == 1:
        return body
    current = np.array([body.coil.at(time)])
    return replace(body, coil=Coil(body.coil.turns, np.zeros(1), current))


class StagedLoads:
    """The loads of each stage of a run, made when asked for.

    `alike` makes loads that know nothing yet, for a system whose currents stand still.
    """

    def __init__(
        self,
        system: System,
        alike: Callable[[System], MagneticLoads],
        made: dict[bytes, MagneticLoads] | None = None,
    ) -> None:
        self._system, self._alike = system, alike
        self.stages = stages_of(system.bodies)
        self._made = {} if made is None else made

    def of(self, number: int) -> MagneticLoads:
        """Return the loads of stage `number`."""
        coils = [b.coil for b in self._system.bodies if b.coil is not None]
        middle = self.stages[number].middle
        key = np.array([coil.at(middle) for coil in coils]).tobytes()
        if key not in self._made:
            self._made[key] = self._alike(standing_at(self._system, middle))
        return self._made[key]

    @property
    def all(self) -> tuple[MagneticLoads, ...]:
        """All that were made so far."""
        return tuple(self._made.values())

    def serving(self, system: System) -> StagedLoads:
        """Return what serves another release of the same bodies; what is solved is shared."""
        return StagedLoads(system, self._alike, self._made)
