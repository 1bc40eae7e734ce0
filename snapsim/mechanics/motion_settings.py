"""Numbers that steer a motion."""

from __future__ import annotations

from dataclasses import dataclass, field

from snapsim.mechanics.simultaneous_blows import STEP

NEARLY = 3.0
"""Touching gaps within which a closing contact is struck: the end of a step meets them so well."""


@dataclass(frozen=True)
class Tolerances:
    """Error bounds of one flight step: relative, and absolute for lengths [m] and speeds [m/s].

    `loads` is the relative bound that the applied loads are good for, where it is not `relative`.
    """

    relative: float = 1e-8
    length: float = 1e-9
    speed: float = 1e-8
    loads: float | None = None

    @property
    def of_loads(self) -> float:
        """Relative bound of the loads."""
        return self.relative if self.loads is None else self.loads


@dataclass(frozen=True)
class MotionSettings:
    """Numbers that steer the motion.

    `touch` [m]: gap under which surfaces count as touching, and stay as far apart as they are.
    `slow` [m/s]: rebound speed under which a blow is taken without rebound (1 mm/s rises 0.05
    micrometre); where the applied acceleration a is large it is `hop` [s] * a, so that rebounds
    shorter than about twice that are not followed. `landing` [m/s]: closing speed under which a
    contact counts as closed already, so that sustained contact takes it over (it sinks by half
    that speed times the step). `rest` [m/s]: rim speed under which a touching body counts as at
    rest, for `rest_steps` steps in a row. `contact_step`, `frame_spacing` and `flight_step` are
    the longest steps [s]; a contact step is also held so short that no load changes by much more
    than the share `load_change` from one to the next, that nothing turns by more than `turn` [rad]
    or, by the applied forces alone, moves by more than `fall` [m] or `fall_share` of the smallest
    free body's reach. `limit` is the largest number of steps; `blow_step` that of blows at several
    contacts, relative to the fastest contact unit.
    A run is trusted where no frame after the first shows bodies deeper in each other than `overlap`
    [m], three times `touch`, none was as far off its joints, every step meets its laws
    (`Unsolved`), and no more than the share `unaccounted` of the energy turned over is missing from
    the books.
    """

    tolerances: Tolerances = field(default_factory=Tolerances)
    touch: float = 1e-6
    slow: float = 1e-3
    hop: float = 5e-5
    landing: float = 1e-4
    load_change: float = 0.012
    rest: float = 2e-5
    rest_steps: int = 8
    contact_step: float = 1.5e-3
    turn: float = 0.03
    fall: float = 1e-3
    fall_share: float = 0.05
    frame_spacing: float = 5e-3
    flight_step: float = 0.05
    limit: int = 200_000
    blow_step: float = STEP
    overlap: float = 3e-6
    unaccounted: float = 1e-3
