"""What a run has to tell: the moments that a film slows down for, found from the run itself.

Each is found from energies, contacts and poses alone, by one pure function; none is known by name
from its scene. Several may overlap; `telling` decides which of them is slow when.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from itertools import combinations
from typing import Final

import numpy as np

from snapsim.arrays import Array, BoolArray
from snapsim.mechanics.ending import Parting
from snapsim.numerics import rotations
from snapsim.render.framing import leading_part
from snapsim.run.braking import braked, drifting
from snapsim.simulation.trajectory import Impact, Trajectory

MAIN_WORTH: Final = 0.05
"""Share of the greatest kinetic energy below which no blow is what a run is about."""
APPROACH: Final = 0.020
"""The last of the way before the main blow [s]."""
RESTING: Final = 0.1
"""Speed below which a part has not set out yet [m/s]."""
TURNED: Final = 20.0
"""Least turn worth telling [deg]."""
SET_OUT: Final = 0.02
"""Share of a distance's growth after which two parts have begun to part."""
PULLED: Final = 0.01
"""Share of its weight below which a part is not pulled."""
FREELY: Final = 0.2
"""Share of the speed of a free fall by which one may differ."""
AT_ONCE, LEAP = 1e-4, 0.5
"""Time [s] within which a current that changes by this share of itself leaps."""
APART: Final = 0.1
"""Least growth of a distance worth telling, as a share of it."""


class EventKind(StrEnum):
    """What can happen in a run; the value is its name in files."""

    RELEASE = "release"
    RESISTING = "resisting"
    """It lies or leans, and is pulled with less than its weight."""
    LIFT_OFF = "lift-off"
    """The pull passes its weight, or it sets out."""
    LET_GO = "let-go"
    """A hand lets go at its time, a coil's current changes."""
    GIVING_WAY = "giving-way"
    """A string breaks, a hand loses what it holds: more than it bears."""
    RIGHTING = "righting"
    """It turns faster than half of its fastest before the approach."""
    PARTING = "parting"
    """Two free parts move away from each other."""
    DRIFTING = "drifting"
    """Eddy currents hold it at an even speed."""
    BRAKING = "braking"
    """Eddy currents take most of its motion."""
    APPROACH = "approach"
    IMPACT = "impact"
    """The main blow."""
    BLOW = "blow"
    """Another blow worth announcing."""
    OTHER_BLOW = "other-blow"
    """The first blow worth announcing of another part, after the main one."""
    ROCKING = "rocking"
    """From the main blow to rest: lesser blows, a rattle."""
    REST = "rest"
    """The end of the run, at rest or not."""


@dataclass(frozen=True)
class Event:
    """Something that happens from `start` to `end` [s], the run's own time; `bodies` by number;
    `blow` where it is one, `figure` what its kind measures (see the functions), else nan."""

    kind: EventKind
    start: float
    end: float
    bodies: tuple[int, ...] = ()
    blow: Impact | None = None
    figure: float = float("nan")


def find_events(run: Trajectory) -> tuple[Event, ...]:
    """Return all events of a run in order of their start."""
    end = float(run.time[-1])
    part = leading_part(run.system, run.velocity)
    found = [Event(EventKind.RELEASE, float(run.time[0]), float(run.time[0]))]
    found += _partings_of_joints(run)
    if part is not None and end > 0:
        found += [*resisting(run, part), *righting(run, part), *partings(run)]
    found += [*_drifts(run), *_brakings(run), *_blows(run)]
    found.append(Event(EventKind.REST, end, end))
    return tuple(sorted(found, key=lambda e: (e.start, e.kind == EventKind.REST)))


def main_blow(run: Trajectory) -> Impact | None:
    """Return the blow with the most effective energy, if it has a share of the run's energy."""
    hardest = max(run.impacts, key=lambda i: i.effective_energy, default=None)
    most = float(np.nanmax(run.energy["kinetic"], initial=0.0))
    if hardest is None or hardest.effective_energy < MAIN_WORTH * most:
        return None
    return hardest


def before_main(run: Trajectory) -> BoolArray:
    """Which frames (k,) are before the main blow, or all without one."""
    blow, every = main_blow(run), np.ones(len(run.time), dtype=bool)
    if blow is None:
        return every
    told: BoolArray = run.time <= blow.time
    told[np.flatnonzero(run.time == blow.time)[1:]] = False  # the second is the rebound
    return told


def weight(run: Trajectory, part: int) -> float:
    """Return the weight of a body [N]."""
    return run.system.bodies[part].mass * float(np.linalg.norm(run.system.gravity))


def resisting(run: Trajectory, part: int) -> list[Event]:
    """From release while the pull on the part is below its weight, or it has hardly set out; then
    it lifts off. `figure` is the pull as a share of the weight at the start. What is not pulled,
    or falls freely, does not resist, and what a force holds back is not lifted by it."""
    heavy, shown = weight(run, part), before_main(run)
    if heavy <= 0:
        return []
    pull = np.linalg.norm(run.force[:, part], axis=1)
    slow = np.linalg.norm(run.velocity[:, part], axis=1) < RESTING
    waits = (pull < heavy) | slow
    gone = np.flatnonzero(~waits & shown)
    until = float(run.time[gone[0]]) if len(gone) else float(run.time[shown][-1])
    found = []
    resists = PULLED * heavy < pull[0] < heavy and not _falls_freely(run, part)
    if resists and until > 0:
        share = float(pull[0]) / heavy
        found.append(Event(EventKind.RESISTING, float(run.time[0]), until, (part,), figure=share))
    driven = len(gone) and run.force[gone[0], part] @ run.velocity[gone[0], part] > 0
    if driven and until > 0 and pull[gone[0]] > heavy:
        share = float(pull[gone[0]]) / heavy
        found.append(Event(EventKind.LIFT_OFF, until, until, (part,), figure=share))
    return found


def _falls_freely(run: Trajectory, part: int) -> bool:
    """Whether a part falls from the start as if nothing but its weight acted."""
    k = min(1, len(run.time) - 1)
    free = run.system.gravity * float(run.time[k] - run.time[0])
    gained = run.velocity[k, part] - run.velocity[0, part]
    return bool(np.linalg.norm(gained - free) < FREELY * np.linalg.norm(free))


def righting(run: Trajectory, part: int) -> list[Event]:
    """While the part turns faster than half of its fastest before the approach (close to a pole
    iron swings fastest of all, and stands already), round that peak; `figure` is the angle through
    which it turns meanwhile [deg]."""
    blow = main_blow(run)
    shown = before_main(run) & (run.time <= (np.inf if blow is None else blow.time - APPROACH))
    rate = np.linalg.norm(run.spin[shown, part], axis=1)
    time = run.time[shown]
    if len(time) < 3 or not rate.max() > 0:
        return []
    peak = int(np.argmax(rate))
    slow = rate <= 0.5 * rate[peak]
    before, after = np.flatnonzero(slow[:peak]), np.flatnonzero(slow[peak:])
    first = int(before[-1]) + 1 if len(before) else 0
    last = peak + int(after[0]) - 1 if len(after) else len(time) - 1
    turned = float(np.degrees(np.trapezoid(rate[first : last + 1], time[first : last + 1])))
    if turned < TURNED:
        return []
    span = float(time[first]), float(time[last])
    return [Event(EventKind.RIGHTING, *span, (part,), figure=turned)]


def partings(run: Trajectory) -> list[Event]:
    """The longest time over which two free parts move away from each other; `figure` is by how much
    their centres' distance grows [m]."""
    free = [i for i, body in enumerate(run.system.bodies) if not body.fixed]
    found = []
    for a, b in combinations(free, 2):
        away = np.linalg.norm(run.position[:, a] - run.position[:, b], axis=1)
        first, last = _longest_growth(away)
        grown = float(away[last] - away[first])
        if grown > APART * float(away[first]):
            first += int(np.argmax(away[first:] - away[first] > SET_OUT * grown))
            span = float(run.time[first]), float(run.time[last])
            found.append(Event(EventKind.PARTING, *span, (a, b), figure=grown))
    return sorted(found, key=lambda e: -e.figure)[:1]


def _drifts(run: Trajectory) -> list[Event]:
    """While parts drift at an even speed; `figure` is that [m/s]."""
    return [
        Event(
            EventKind.DRIFTING,
            one["from_s"],
            one["to_s"],
            (run.system.number(one["body"]),),
            figure=one["speed_m_s"],
        )
        for one in drifting(run)
    ]


def _brakings(run: Trajectory) -> list[Event]:
    """While eddy currents take a part's motion; `figure` is the share of it that goes."""
    one = braked(run)
    if one is None:
        return []
    bodies = (run.system.number(one["body"]),)
    kind = EventKind.BRAKING
    return [Event(kind, one["from_s"], one["to_s"], bodies, figure=one["share"])]


def _longest_growth(values: Array) -> tuple[int, int]:
    """First and last place of the stretch without a fall over which `values` (k,) grow most."""
    falls = np.flatnonzero(np.diff(values) < 0)
    starts = np.concatenate([[0], falls + 1])
    ends = np.concatenate([falls, [len(values) - 1]])
    best = int(np.argmax(values[ends] - values[starts]))
    return int(starts[best]), int(ends[best])


def _partings_of_joints(run: Trajectory) -> list[Event]:
    """When hands let go, coils' currents change and strings break, each time once."""
    parted = [load for load in run.loads.values() if not np.isnan(load.parted)]
    torn = {
        load.parted for load in parted if load.why in (Parting.FORCE_LIMIT, Parting.TORQUE_LIMIT)
    }
    given = {load.parted for load in parted} | set(switchings(run))
    kinds = {t: EventKind.GIVING_WAY if t in torn else EventKind.LET_GO for t in sorted(given)}
    return [Event(kind, t, t) for t, kind in kinds.items() if 0 < t < run.time[-1]]


def switchings(run: Trajectory) -> list[float]:
    """Return the times [s] within a run at which a coil's current leaps."""
    coils = [b.coil for b in run.system.bodies if b.coil is not None]
    return sorted(
        {
            float(t)
            for c in coils
            for t in c.moments
            if 0 < t < run.time[-1]
            and abs(c.at(t + AT_ONCE) - c.at(t - AT_ONCE))
            > LEAP * max(abs(c.at(t + AT_ONCE)), abs(c.at(t - AT_ONCE)))
        }
    )


def _blows(run: Trajectory) -> list[Event]:
    """The main blow with the last of the way to it, and what follows until the end."""
    blow = main_blow(run)
    if blow is None:
        return []
    bodies = run.system.number(blow.body), run.system.number(blow.against)
    at, end = blow.time, float(run.time[-1])
    start = max(float(run.time[0]), at - APPROACH)
    found = [Event(EventKind.APPROACH, start, at, bodies)] if at > start else []
    found.append(Event(EventKind.IMPACT, at, at, bodies, blow, blow.kinetic_energy))
    least = MAIN_WORTH * blow.effective_energy
    later = [i for i in run.impacts if i.time > at]
    for other in (i for i in run.impacts if i is not blow and i.effective_energy >= least):
        pair = run.system.number(other.body), run.system.number(other.against)
        found.append(Event(EventKind.BLOW, other.time, other.time, pair, other))
    found += _other_blow(run, blow, found)
    if later and end > at:
        found.append(Event(EventKind.ROCKING, at, end, bodies, figure=float(len(later))))
    return found


def _other_blow(run: Trajectory, main: Impact, announced: list[Event]) -> list[Event]:
    """The first of the blows that are announced in which none of the main one's free bodies is."""
    fixed = {body.name for body in run.system.bodies if body.fixed}
    taken = {main.body, main.against} - fixed
    for event in announced:
        blow = event.blow
        if event.kind != EventKind.BLOW or blow is None or blow.time <= main.time:
            continue
        if not {blow.body, blow.against} & taken:
            return [Event(EventKind.OTHER_BLOW, blow.time, blow.time, event.bodies, blow)]
    return []


def lean(run: Trajectory, part: int, time: float) -> float:
    """Return how far the part's flat side leans from the level [deg]: 0 lies flat, 90 stands on its
    rim; nan where it has no flat side or nothing is level."""
    extents = np.sort(run.system.bodies[part].shape.extents)
    gravity = np.linalg.norm(run.system.gravity)
    if gravity == 0 or extents[0] > 0.5 * extents[1]:
        return float("nan")
    axis = np.zeros(3)
    axis[int(np.argmin(run.system.bodies[part].shape.extents))] = 1.0
    k = min(int(np.searchsorted(run.time, time)), len(run.time) - 1)
    way = rotations.rotate(run.quaternion[k, part], axis)
    upright = abs(float(way @ run.system.gravity)) / float(gravity)
    return float(np.degrees(np.arccos(min(upright, 1.0))))
