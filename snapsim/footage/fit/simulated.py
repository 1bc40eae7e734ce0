"""The predictor that releases the scene: courses computed side by side, each only once."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Sequence
from concurrent.futures import Executor
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from snapsim.arrays import Array
from snapsim.errors import ComputationError, SnapsimError
from snapsim.footage.course import Course, course_of
from snapsim.footage.fit.contract import Prediction, Query
from snapsim.footage.fit.unknowns import Unknown
from snapsim.footage.projection import seen
from snapsim.footage.tracks import Track
from snapsim.footage.views import FootageView, PlaneView
from snapsim.mechanics.ending import EndReason
from snapsim.simulation.system import System
from snapsim.simulation.trajectory import Impact
from snapsim.study.cases import Cases
from snapsim.study.place import placed
from snapsim.study.placement import Placement
from snapsim.study.sampling import RunSpot
from snapsim.words.endings import ending_words

BLOW = 0.05
"""Closing speed [m/s] from which a contact counts as a blow that parts smooth motion from rest."""

KEPT = 400
"""Courses kept in memory."""


@dataclass(frozen=True)
class ReleaseRequest:
    """One release: a scene as text, its changes, and whether it ends at the first blow."""

    text: str
    file: str
    changes: tuple[str, ...]
    places: tuple[Placement, ...]
    whole: bool


def run_job(job: ReleaseRequest) -> Course | str:
    """Return the course of a release, or why there is none."""
    from snapsim.run.release import not_interrupted, release

    try:
        system = _system(job)
        run = not_interrupted(release(system, until=None if job.whole else _first_blow))
        if run.outcome == "untrusted":
            return f"untrusted: {ending_words(run.ending)}"
        if run.outcome == "stopped" and run.reason != EndReason.FIRST_BLOW:
            return f"stopped at {run.time[-1]:.4g} s: {ending_words(run.ending)}"
    except (SnapsimError, ArithmeticError, ValueError) as error:
        return str(error) or type(error).__name__
    return course_of(run, BLOW)


def _system(job: ReleaseRequest) -> System:
    """The scene of a release, its parts set down; raises InputError."""
    from snapsim.scenario.loading import scene_from_text

    system = scene_from_text(job.text, job.file, job.changes)
    for placement in job.places:
        system = placed(system, placement)
    return system


def _first_blow(impact: Impact) -> EndReason | None:
    return EndReason.FIRST_BLOW if impact.closing_speed >= BLOW else None


class Simulated:
    """Answers by releases of a scene (`Predictor`); `executor` computes several at once."""

    def __init__(
        self,
        cases: Cases,
        unknowns: tuple[Unknown, ...],
        tracks: Sequence[Track],
        view: FootageView,
        release: float,
        detail: str,
        executor: Executor | None = None,
    ) -> None:
        self.cases, self.unknowns, self.view = cases, unknowns, view
        self.release, self.detail, self._executor = release, detail, executor
        self.size = len(unknowns)
        self.tracks = [_only_seen(t) for t in tracks]
        self.time = np.concatenate([t.time for t in self.tracks])
        self.tracked = np.concatenate([t.place for t in self.tracks])
        self.weight = np.concatenate([np.full(len(t.time), t.weight) for t in self.tracks])
        self._kept: OrderedDict[ReleaseRequest, Course | str] = OrderedDict()
        self.computed = 0
        self.has_cells = any(cases.scene.has_cells(b) for b in cases.scene.bodies)

    def with_detail(self, detail: str) -> Simulated:
        """Return the same with other cells, nothing computed yet."""
        return Simulated(
            self.cases, self.unknowns, self.tracks, self.view, self.release, detail, self._executor
        )

    def ask(self, queries: Sequence[Query]) -> list[Prediction]:
        """Return an answer to each query."""
        jobs = [self.job(q) for q in queries]
        self._compute(list(dict.fromkeys(j for j in jobs if j not in self._kept)))
        return [self._answer(q, self._kept[j]) for q, j in zip(queries, jobs, strict=True)]

    def course(self, query: Query) -> Course:
        """Return the course of a query; raises ComputationError where there is none."""
        self.ask([query])
        found = self._kept[self.job(query)]
        if isinstance(found, str):
            raise ComputationError(f"{self.cases.file}: {found}")
        return found

    def force_bar(self, query: Query) -> float:
        """Return the share, at most 1, by which the cells may leave the force on a tracked body off
        where it is let go."""
        from snapsim.simulation.pose_accuracy import PoseAccuracy

        system = _system(self.job(query))
        found = PoseAccuracy(system).at(system.start.pose).force
        rows = [system.number(name) for name in dict.fromkeys(t.body for t in self.tracks)]
        sizes = np.linalg.norm(found.value[rows], axis=1)
        off = found.error[rows] / np.maximum(sizes, 1e-12)
        return float(min(off.max(initial=0.0), 1.0))

    def camera(self, shares: Array) -> tuple[float, FootageView]:
        """Return the time of release and the view at a point of the unknowns."""
        release, view = self.release, self.view
        for unknown, share in zip(self.unknowns, shares, strict=True):
            if not unknown.of_camera:
                continue
            value = unknown.si(float(share))
            if unknown.key == "time.release":
                release = value
            elif isinstance(view, PlaneView):
                view = _with(view, unknown.key, value)
        return release, view

    def changes(self, shares: Array) -> tuple[str, ...]:
        """Return the scene's changes at a point of the unknowns."""
        own = [s for u, s in zip(self.unknowns, shares, strict=True) if not u.of_camera]
        return self.cases.changes(RunSpot(0, 0, 0, 0), np.array(own))

    def job(self, query: Query) -> ReleaseRequest:
        """Return the release that answers a query."""
        release, view = self.camera(query.shares)
        end = query.until - release + view.exposure + view.line_time * view.size[1]
        run = (f'run.duration="{max(end, 1e-3)!r} s"', f'run.detail="{self.detail}"')
        cases = self.cases
        places = cases.study.placements()
        changes = (*self.changes(query.shares), *run)
        return ReleaseRequest(cases.text, cases.file, changes, places, query.whole)

    def _compute(self, jobs: list[ReleaseRequest]) -> None:
        found: Any = map(run_job, jobs) if self._executor is None else self._mapped(jobs)
        for job, course in zip(jobs, found, strict=True):
            self._kept[job] = course
            self.computed += 1
        while len(self._kept) > KEPT + len(jobs):
            self._kept.popitem(last=False)

    def _mapped(self, jobs: list[ReleaseRequest]) -> Any:
        assert self._executor is not None
        return self._executor.map(run_job, jobs)

    def _answer(self, query: Query, course: Course | str) -> Prediction:
        if isinstance(course, str):
            return Prediction(np.full_like(self.tracked, np.nan), np.inf, course)
        release, view = self.camera(query.shares)
        places = [seen(course, view, t, release, query.delay) for t in self.tracks]
        blow = release + course.blows[0] if len(course.blows) else np.inf
        return Prediction(np.concatenate(places), float(blow))


def _only_seen(track: Track) -> Track:
    rows = np.isfinite(track.place).all(axis=1)
    return replace(track, time=track.time[rows], place=track.place[rows])


def _with(view: PlaneView, key: str, value: float) -> PlaneView:
    if key == "view.scale":
        return replace(view, scale=value)
    u, v = view.origin
    return replace(view, origin=(value, v) if key.endswith("x") else (u, value))
