"""What two parts of a run do to each other: the force on the one from the charges of the other.

It is taken out of all that acts on them, magnets included, with the magnetisation that the run has
stored; on the other it is as large and opposite (`MagneticModel.loads_between`). It is found at key
times between which bodies move little, and between these it is their mean.
"""

from __future__ import annotations

from functools import lru_cache
from itertools import combinations
from typing import Final

import numpy as np

from snapsim.arrays import Array
from snapsim.magnetics.model import MagneticModel, MagneticState
from snapsim.parts.states import Pose
from snapsim.render.events import EventKind, find_events
from snapsim.render.interpolation import sample
from snapsim.render.layers.field_lines import key_times
from snapsim.simulation.current_stages import standing_at
from snapsim.simulation.trajectory import Trajectory

KEYS: Final = 24
MOVE: Final = 0.05  # of the scene's size: how far a body may move between key times
MATTERS: Final = 0.25
"""Share of all force on a part from which on what the other does to it is why they move apart."""


class PairForce:
    """Between bodies number `pair` of a run; `size` [m] is the scene's."""

    def __init__(self, run: Trajectory, pair: tuple[int, int], size: float) -> None:
        self.pair, self._run = pair, run
        self.keys = key_times(run, MOVE * size, KEYS)
        system = run.system
        self._model = MagneticModel(system.bodies, system.detail, recoil=system.recoil)
        self._at_key = lru_cache(maxsize=None)(self._found)

    def at(self, time: float) -> Array:
        """Return the force (3,) [N] on the first of the pair at a time [s], world axes."""
        j = int(np.clip(np.searchsorted(self.keys, time, side="right"), 1, len(self.keys) - 1))
        a, b = self.keys[j - 1], self.keys[j]
        u = float(np.clip((time - a) / (b - a), 0.0, 1.0))
        if u in (0.0, 1.0):
            return self._at_key(float(a if u == 0.0 else b))
        mixed: Array = (1 - u) * self._at_key(float(a)) + u * self._at_key(float(b))
        return mixed

    def apart(self, time: float) -> bool:
        """Whether they push each other away at a time [s]."""
        moment, (first, second) = sample(self._run, time), self.pair
        return float(self.at(time) @ (moment.position[first] - moment.position[second])) > 0

    def _found(self, time: float) -> Array:
        run, model = self._run, self._model
        bodies, moment = standing_at(run.system, time).bodies, sample(run, time)
        if bodies is not run.system.bodies:
            model = model.with_currents(bodies)
        zero = np.zeros((len(bodies), 3))
        names = [bodies[i].name for i in (*model.soft, *model.recoiling)]
        held = tuple(moment.magnetisation[name] for name in names)
        state = MagneticState(0.0, zero, zero, held, 0.0, 0, True)
        acting = model.loads_between(Pose(moment.position, moment.quaternion), state)
        force: Array = acting[self.pair[0], self.pair[1], :3]
        return force


def pair_of(run: Trajectory) -> tuple[int, int] | None:
    """Return which two free bodies to show a force between: those that part, else the two that come
    nearest to each other; None without two that a field acts on, or without their magnetisation."""
    bodies = run.system.bodies
    acted_on = [
        i
        for i, body in enumerate(bodies)
        if not body.fixed and (body.is_magnet or body.name in run.cells)
    ]
    yielding = [b for b in bodies if b.is_soft or (run.system.recoil and b.is_magnet)]
    if len(acted_on) < 2 or any(b.name not in run.magnetisation for b in yielding):
        return None
    for event in find_events(run):
        if event.kind == EventKind.PARTING and set(event.bodies) <= set(acted_on):
            return event.bodies[0], event.bodies[1]

    def nearest(pair: tuple[int, int]) -> float:
        way = run.position[:, pair[0]] - run.position[:, pair[1]]
        return float(np.linalg.norm(way, axis=1).min())

    return min(combinations(acted_on, 2), key=nearest)


def parts_them(run: Trajectory, force: PairForce) -> tuple[float, float] | None:
    """Return from when to when [s] two parts move apart because they push each other away; None
    where they do not, or where it matters little beside all else that acts on them."""
    for event in find_events(run):
        if event.kind != EventKind.PARTING or event.bodies != force.pair:
            continue
        push, moment = float(np.linalg.norm(force.at(event.start))), sample(run, event.start)
        most = max(float(np.linalg.norm(moment.force[i])) for i in force.pair)
        if push > MATTERS * most and force.apart(event.start):
            return event.start, event.end
    return None
