"""What a film says: one number and one sentence about an event, in plain words, from the run's own
figures. Beside words lie nothing: whoever wants more reads the run's tables."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

import numpy as np

from snapsim.arrays import Array
from snapsim.constants import MU_0
from snapsim.mechanics.ending import EndReason, Parting
from snapsim.mechanics.joints.hold import Hold
from snapsim.render.events import AT_ONCE, Event, EventKind, lean, weight
from snapsim.render.interpolation import Moment, sample
from snapsim.simulation.trajectory import Impact, Trajectory
from snapsim.words.blows import as_fast, meets
from snapsim.words.endings import ending_words
from snapsim.words.trust import by_chance

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
    if say is None:
        return None
    number, sentence = say(event, run)
    return number, sentence + by_chance(run.twins, _settled(event))


def _settled(event: Event) -> float:
    """When what is told of an event was settled [s]."""
    if event.blow is not None:
        return event.blow.time
    return event.start if event.kind is EventKind.REST else event.end


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


def _current_words(run: Trajectory, time: float) -> str:
    """What a coil's current does at a time [s]."""
    coils = [b.coil for b in run.system.bodies if b.coil is not None]
    changed = [c for c in coils if any(abs(t - time) < 1e-9 for t in c.moments)]
    off = bool(changed) and all(c.at(time + AT_ONCE) == 0 for c in changed)
    return "the current goes off" if off else "the current changes"


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
    moment, heavy = sample(run, event.start), weight(run, part)
    others = [(n, f) for n, f in pulls(run, moment).items() if n != part]
    name, figure = run.system.bodies[part].name, force(event.figure * heavy)
    if _sideways(run, moment.force[part]):
        return figure, f"the pull, sideways: {name if others else 'it'} sets out"
    if len(others) != 1:
        return figure, f"the pull, against {force(heavy)} of weight: it sets out"
    (other, pull), *_ = others
    return figure, f"the pull on {name}; {force(pull)} on {run.system.bodies[other].name}"


def pulls(run: Trajectory, moment: Moment) -> dict[int, float]:
    """Return by how much each free body is pulled at a moment [N], those that are."""
    free = [i for i, body in enumerate(run.system.bodies) if not body.fixed]
    sizes = {i: float(np.linalg.norm(moment.force[i])) for i in free}
    return {i: size for i, size in sizes.items() if size > 0}


def _sideways(run: Trajectory, pull: Array) -> bool:
    """Whether a pull (3,) is rather across the weight than along it."""
    gravity = run.system.gravity
    along = abs(float(pull @ gravity))
    return bool(along < np.cos(np.pi / 4) * np.linalg.norm(pull) * np.linalg.norm(gravity))


def _drifting(event: Event, run: Trajectory) -> tuple[str, str]:
    slow = event.figure < 0.1
    figure = f"{1e3 * event.figure:.2g}{JOIN}mm/s" if slow else f"{event.figure:.2f}{JOIN}m/s"
    return figure, "at an even speed: currents in the metal brake it"


def _braking(event: Event, run: Trajectory) -> tuple[str, str]:
    share = f"{min(100 * event.figure, 99):.0f}{JOIN}%"
    return share, "of its motion becomes heat: currents in the metal brake it"


def _let_go(event: Event, run: Trajectory) -> tuple[str, str]:
    gone = {name: load for name, load in run.loads.items() if load.parted == event.start}
    when = f"{event.start:.3g}{JOIN}s"
    if not gone:
        return when, _current_words(run, event.start)
    names = " and ".join(name if name.startswith("the ") else f"the {name}" for name in [*gone][:2])
    if len(gone) > 1:
        return when, f"{names} let go"
    (load,) = gone.values()
    if load.why in (Parting.FORCE_LIMIT, Parting.TORQUE_LIMIT):
        most = load.peak_force if load.why == Parting.FORCE_LIMIT else load.peak_torque
        bore = f"{_plain(most)}{JOIN}{'N' if load.why == Parting.FORCE_LIMIT else f'N{JOIN}m'}"
        holds = any(j.name in gone and isinstance(j, Hold) for j in run.system.joints)
        return bore, f"{names} {'loses it' if holds else 'breaks'}"
    if load.why == Parting.TORN_AWAY:
        return when, f"a blow tears it from {names}"
    return when, f"{names} lets go"


def _righting(event: Event, run: Trajectory) -> tuple[str, str]:
    (part,) = event.bodies
    moment = sample(run, float(np.nextafter(event.end, -np.inf)))
    name = run.system.bodies[part].name
    pulled = f"pulled with {force(float(np.linalg.norm(moment.force[part])))}"
    stands = _stance(run, part, event.end)
    polarised = polarisation(run, name, moment)
    if polarised is None:
        return f"{event.figure:.0f}°", f"turns {stands}, then {pulled}".replace(" ,", ",")
    return f"{polarised:.2f}{JOIN}T", f"turns {stands}, then {pulled}".replace(" ,", ",")


def _stance(run: Trajectory, part: int, time: float) -> str:
    angle = lean(run, part, time)
    if np.isnan(angle):
        return ""
    return "flat" if angle < FLAT else "upright" if angle > UPRIGHT else f"at {angle:.0f}°"


def _parting(event: Event, run: Trajectory) -> tuple[str, str]:
    first, second = (run.system.bodies[i].name for i in event.bodies)
    return f"+{_length(event.figure)}", f"{first} and {second} move apart"


def _approach(event: Event, run: Trajectory) -> tuple[str, str]:
    moment = sample(run, event.start)
    part = event.bodies[0]
    pull = float(np.linalg.norm(moment.force[part]))
    when = f"{1e3 * (event.end - event.start):.0f}{JOIN}ms before the blow"
    if pull < weight(run, part):
        return f"{np.linalg.norm(moment.velocity[part]):.2f}{JOIN}m/s", when
    several = len(pulls(run, moment)) > 1
    on = f" on {run.system.bodies[part].name}" if several else ""
    return force(pull), f"the pull{on}, {when}"


def _impact(event: Event, run: Trajectory) -> tuple[str, str]:
    blow = event.blow
    assert blow is not None
    return blow_words(blow)


def blow_words(blow: Impact) -> tuple[str, str]:
    """Return a blow's number and sentence. Where both move, what they bring against each other is
    more than the kinetic energy of one: the larger is told."""
    speed = f"{as_fast(blow)} {blow.closing_speed:.2f}{JOIN}m/s"
    said = f"{blow.body} {meets(blow)} {blow.against} {speed}"
    return energy(max(blow.kinetic_energy, blow.effective_energy)), said


def _rocking(event: Event, run: Trajectory) -> tuple[str, str]:
    count = int(event.figure)
    told = "more blow follows" if count == 1 else "more blows follow"
    return f"{count}", told


def _rest(event: Event, run: Trajectory) -> tuple[str, str]:
    return f"{event.start:.3g}{JOIN}s", _ending(run)


def _ending(run: Trajectory) -> str:
    """How it ends: of one free part by its name, and how far from the magnet it lies."""
    if run.ending.reason == EndReason.TIME_UP:
        return "still moving when the run ends"
    free = [b for b in run.system.bodies if not b.fixed]
    if run.ending.reason not in (EndReason.AT_REST, EndReason.AT_REST_HELD):
        return ending_words(run.ending)
    if len(free) != 1:
        return "all of it is at rest"
    gap = float(run.gap[-1])
    if np.isnan(gap):
        return f"{free[0].name} is at rest"
    if gap < TOUCHING:
        return f"{free[0].name} rests at the magnet"
    return f"{free[0].name} rests, {_length(gap)} from the magnet"


SAYINGS: Final[dict[EventKind, Callable[[Event, Trajectory], tuple[str, str]]]] = {
    EventKind.RESISTING: _resisting,
    EventKind.LIFT_OFF: _lift_off,
    EventKind.LET_GO: _let_go,
    EventKind.GIVING_WAY: _let_go,
    EventKind.RIGHTING: _righting,
    EventKind.PARTING: _parting,
    EventKind.DRIFTING: _drifting,
    EventKind.BRAKING: _braking,
    EventKind.APPROACH: _approach,
    EventKind.IMPACT: _impact,
    EventKind.OTHER_BLOW: _impact,
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
