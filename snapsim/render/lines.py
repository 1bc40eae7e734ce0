"""What a film says: one number and one sentence about an event, in plain words, from the run's own
figures. Beside words lie nothing: whoever wants more reads the run's tables."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

import numpy as np

from snapsim.constants import MU_0
from snapsim.mechanics.ending import EndReason
from snapsim.render.events import Event, EventKind, lean, weight
from snapsim.render.interpolation import Moment, sample
from snapsim.simulation.trajectory import Trajectory
from snapsim.words.endings import ending_words

FLAT, UPRIGHT = 25.0, 65.0
"""Leaning of a flat part [deg] up to which it is called flat, from which on upright."""
JOIN: Final = "\u00a0"
"""Between a number and its unit: no line breaks there."""
TOUCHING: Final = 0.5e-3
"""Gap below which a part is said to touch [m]."""


@dataclass(frozen=True)
class StoryLine:
    """Clip times [s] from `start` to `end`: a `number`, as large as may be, and a `sentence`; told
    of run number `run`, `about` which kind of event (None: the question)."""

    start: float
    end: float
    number: str
    sentence: str
    run: int = 0
    about: EventKind | None = None

    @property
    def text(self) -> str:
        """Both as one caption."""
        return f"{self.number}: {self.sentence}" if self.number else self.sentence


def line_of(event: Event, run: Trajectory) -> tuple[str, str] | None:
    """Return (number, sentence) for an event, or None where it goes without words."""
    say = SAYINGS.get(event.kind)
    return say(event, run) if say is not None else None


def question_of(run: Trajectory) -> str:
    """Return what a film asks before release, from how the scene begins."""
    bodies = run.system.bodies
    free = [b for b in bodies if not b.fixed]
    soft = [b for b in free if not b.is_magnet]
    gap = float(run.gap[0])
    if not free:
        return "Nothing here can move."
    current = _current_question(run)
    if current:
        return current
    if np.isnan(gap):
        return "Let go: what happens?"
    if gap < TOUCHING:
        return "It touches the magnet. Will it stay there?"
    if soft or len(free) == 1:
        return f"{_length(gap)} from the magnet. Will {'they' if len(soft) > 1 else 'it'} jump?"
    return f"{_length(gap)} apart. Will they meet?"


def _current_question(run: Trajectory) -> str:
    """What is asked where a coil's current changes within the run, "" where none does."""
    coils = [b.coil for b in run.system.bodies if b.coil is not None]
    changes = [float(t) for c in coils for t in c.moments if 0 < t < run.time[-1]]
    if not changes:
        return ""
    off = all(c.at(min(changes)) == 0 for c in coils)
    what = "goes off" if off else "changes"
    return f"The current {what} after {min(changes):.2g}{JOIN}s. What happens then?"


def _resisting(event: Event, run: Trajectory) -> tuple[str, str]:
    (part,) = event.bodies
    pull = event.figure * weight(run, part)
    return force(pull), f"the pull, against {force(weight(run, part))} of weight"


def _lift_off(event: Event, run: Trajectory) -> tuple[str, str]:
    (part,) = event.bodies
    return force(event.figure * weight(run, part)), "the pull, more than its weight: it sets out"


def _drifting(event: Event, run: Trajectory) -> tuple[str, str]:
    slow = event.figure < 0.1
    figure = f"{1e3 * event.figure:.2g}{JOIN}mm/s" if slow else f"{event.figure:.2f}{JOIN}m/s"
    return figure, "at an even speed: currents in the metal brake it"


def _let_go(event: Event, run: Trajectory) -> tuple[str, str]:
    gone = [name for name, load in run.loads.items() if load.parted == event.start]
    verb = "lets go" if len(gone) == 1 else "let go"
    names = " and ".join(f"the {name}" for name in gone[:2])
    return f"{event.start:.3g}{JOIN}s", f"{names or 'what held it'} {verb}"


def _righting(event: Event, run: Trajectory) -> tuple[str, str]:
    (part,) = event.bodies
    moment = sample(run, float(np.nextafter(event.end, -np.inf)))
    name = run.system.bodies[part].name
    pulled = f"pulled with {force(float(np.linalg.norm(moment.force[part])))}"
    stands = _stance(run, part, event.end)
    polarised = polarisation(run, name, moment)
    if polarised is None:
        return f"{event.figure:.0f}°", f"turned {stands}, {pulled}".replace("  ", " ")
    return f"{polarised:.2f}{JOIN}T", f"{stands or 'turned'}, {pulled}"


def _stance(run: Trajectory, part: int, time: float) -> str:
    angle = lean(run, part, time)
    if np.isnan(angle):
        return ""
    return "flat" if angle < FLAT else "upright" if angle > UPRIGHT else f"at {angle:.0f}°"


def _by_chance(run: Trajectory, time: float) -> str:
    """What is added to a line of something at a time [s] when the run's twins had parted."""
    parted = run.twins is not None and time > run.twins.apart
    return ", in one of several courses" if parted else ""


def _parting(event: Event, run: Trajectory) -> tuple[str, str]:
    first, second = (run.system.bodies[i].name for i in event.bodies)
    said = f"{first} and {second} move apart{_by_chance(run, event.end)}"
    return f"+{_length(event.figure)}", said


def _approach(event: Event, run: Trajectory) -> tuple[str, str]:
    moment = sample(run, event.start)
    part = event.bodies[0]
    pull = float(np.linalg.norm(moment.force[part]))
    when = f"{1e3 * (event.end - event.start):.0f}{JOIN}ms before the blow"
    if pull < weight(run, part):
        return f"{np.linalg.norm(moment.velocity[part]):.2f}{JOIN}m/s", when
    return force(pull), f"the pull, {when}"


def _impact(event: Event, run: Trajectory) -> tuple[str, str]:
    blow = event.blow
    assert blow is not None
    said = f"{blow.body} strikes {blow.against} at {blow.closing_speed:.2f}{JOIN}m/s"
    return energy(blow.kinetic_energy), said + _by_chance(run, blow.time)


def _rocking(event: Event, run: Trajectory) -> tuple[str, str]:
    count = int(event.figure)
    told = "more blow follows" if count == 1 else "more blows follow"
    return f"{count}", told + _by_chance(run, event.end)


def _rest(event: Event, run: Trajectory) -> tuple[str, str]:
    still = run.ending.reason == EndReason.TIME_UP
    told = "still moving when the run ends" if still else ending_words(run.ending)
    return f"{event.start:.3g}{JOIN}s", told + _by_chance(run, event.start)


SAYINGS: Final[dict[EventKind, Callable[[Event, Trajectory], tuple[str, str]]]] = {
    EventKind.RESISTING: _resisting,
    EventKind.LIFT_OFF: _lift_off,
    EventKind.LET_GO: _let_go,
    EventKind.RIGHTING: _righting,
    EventKind.PARTING: _parting,
    EventKind.DRIFTING: _drifting,
    EventKind.APPROACH: _approach,
    EventKind.IMPACT: _impact,
    EventKind.ROCKING: _rocking,
    EventKind.REST: _rest,
}


def polarisation(run: Trajectory, name: str, moment: Moment) -> float | None:
    """Return the size of a soft body's mean polarisation [T], by volume; None without cells."""
    cells, held = run.cells.get(name), moment.magnetisation.get(name)
    if cells is None or held is None or not len(cells.volume):
        return None
    mean = (cells.volume[:, None] * held).sum(axis=0) / cells.volume.sum()
    return float(MU_0 * np.linalg.norm(mean))


def force(newtons: float) -> str:
    """Return a force in three figures at most."""
    return f"{newtons / 1e3:.2g}{JOIN}kN" if newtons >= 1e4 else f"{_plain(newtons)}{JOIN}N"


def energy(joules: float) -> str:
    """Return an energy in J, in mJ below 0.1 J."""
    return f"{_plain(joules)}{JOIN}J" if joules >= 0.1 else f"{_plain(1e3 * joules)}{JOIN}mJ"


def _length(metres: float) -> str:
    return f"{metres:.2f}{JOIN}m" if metres >= 1 else f"{_plain(1e3 * metres)}{JOIN}mm"


def _plain(value: float) -> str:
    """Two figures below ten, whole numbers above."""
    return f"{value:.0f}" if abs(value) >= 9.95 else f"{value:.2g}"
