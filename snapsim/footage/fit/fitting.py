"""From files to fitted values: what is asked, checked, fitted and judged."""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import Executor
from dataclasses import dataclass, replace
from pathlib import Path
from time import process_time

import numpy as np
from scipy import stats

from snapsim.arrays import Array
from snapsim.errors import InputError
from snapsim.footage.fit.least_squares import FitProblem, solve
from snapsim.footage.fit.profile import Intervals, covariance, profile
from snapsim.footage.fit.simulated import Simulated
from snapsim.footage.fit.staged import Fitted, Say, Settings, refined, staged_fit
from snapsim.footage.fit.unknowns import Unknown, spreads, unknowns_of
from snapsim.footage.match_file import MatchFile
from snapsim.footage.matching import Filmed
from snapsim.footage.noise import track_noise
from snapsim.footage.overlay import TrackOverlay, overlay
from snapsim.footage.views import PlaneView
from snapsim.scenario.changes import read_change
from snapsim.study.cases import Cases, cases
from snapsim.study.runner import processes
from snapsim.study.study_file import SetupDescription, Study

CELL_ERRORS = {"draft": 0.05, "normal": 0.02, "fine": 0.01}
"""Errors of force by cells, upper ends; the guide, limits."""

FINER = {"draft": "normal", "normal": "fine"}
"""Cells of a fit's last step where the scene has those of the search."""

NOISE = 1.0
"""Noise to begin with where the tracks are too short to tell [px]."""


@dataclass(frozen=True)
class FitResult:
    """What a fit came to: `computed` releases and `cpu` [s] of this process."""

    unknowns: tuple[Unknown, ...]
    predictor: Simulated
    fitted: Fitted
    intervals: Intervals
    confidence: float
    computed: int
    cpu: float
    cells: Array
    """By how much the cells may have moved the shares (d,), nan where unknown: in the intervals."""


def fit_footage(
    file: str,
    filmed: Filmed,
    match: MatchFile,
    match_path: str,
    changes: Sequence[str] = (),
    workers: int = 1,
    say: Say | None = None,
) -> FitResult:
    """Fit what [fit] names; raises InputError or ComputationError in one line."""
    unknowns = unknowns_of(match.fit, match_path)
    _require_sense(unknowns, filmed, match_path)
    found = _cases(file, match, match_path, unknowns, changes)
    if workers == 1:
        return _fit(found, unknowns, filmed, match, None, say)
    with processes(workers) as executor:
        return _fit(found, unknowns, filmed, match, executor, say)


def _fit(
    found: Cases,
    unknowns: tuple[Unknown, ...],
    filmed: Filmed,
    match: MatchFile,
    executor: Executor | None,
    say: Say | None,
) -> FitResult:
    began = process_time()
    given = match.fitting
    predictor = Simulated(
        found, unknowns, filmed.footage.tracks, filmed.view, match.time.release, given.detail,
        executor,
    )  # fmt: skip
    settings = _settings(filmed, match)
    fitted = staged_fit(predictor, settings, say)
    used, searched = [predictor], fitted.shares
    finish = given.finish or finishing(fitted, predictor, found.scene.detail)
    if finish != given.detail and predictor.has_cells:
        used.append(predictor.with_detail(finish))
        fitted = refined(fitted, used[-1], settings, say)
    fitted, intervals = with_intervals(fitted, given.confidence, say)
    bar = used[-1].force_bar(fitted.solved.query) if predictor.has_cells else 0.0
    cells = cell_error(unknowns, used[-1], searched, fitted.shares, bar)
    whole, computed = widened(intervals, cells), sum(one.computed for one in used)
    cpu = process_time() - began
    return FitResult(
        unknowns, used[-1], fitted, whole, given.confidence, computed, cpu, cells
    )  # fmt: skip


def finishing(fitted: Fitted, predictor: Simulated, own: str) -> str:
    """Return the cells of the last step: the scene's `own`, or finer ones where the search had
    these and the tracks tell an unknown closer than such cells do."""
    if own != predictor.detail or not predictor.has_cells:
        return own
    cells = cell_error(predictor.unknowns, predictor, fitted.shares, fitted.shares)
    error = np.sqrt(np.diag(covariance(fitted.solved)))
    narrower = np.isnan(cells) | (stats.norm.ppf(0.975) * error < cells)
    return FINER.get(own, own) if narrower.any() else own


def cell_error(
    unknowns: tuple[Unknown, ...],
    predictor: Simulated,
    searched: Array,
    found: Array,
    bar: float = 0.0,
) -> Array:
    """Return by how much the cells may have moved the fitted shares (d,).

    Where the search had coarser cells, by as much as the last step moved them: halving what is left
    of the error leaves no more than it took away. A remanence at least by half of what their forces
    err by (`CELL_ERRORS`, or `bar`, the share by which they may be off at the start). Of others
    nothing is known where the search had the same cells: nan.
    """
    if not predictor.has_cells:
        return np.zeros(len(unknowns))
    moved = np.abs(found - searched)
    share = 0.5 * max(CELL_ERRORS[predictor.detail], bar)
    least = [
        share * abs(u.value(float(s))) / (u.high - u.low)
        if u.key.rpartition(".")[2] == "remanence" and u.high > u.low
        else np.nan
        for u, s in zip(unknowns, found, strict=True)
    ]
    if not moved.any():
        return np.array(least)
    return np.asarray(np.fmax(moved, np.nan_to_num(np.array(least))))


def widened(intervals: Intervals, cells: Array) -> Intervals:
    """Return the intervals with the error of the cells added to both sides, within the bounds."""
    wider = tuple(
        replace(i, low=max(0.0, i.low - c), high=min(1.0, i.high + c))
        for i, c in zip(intervals.intervals, np.nan_to_num(cells).tolist(), strict=True)
    )
    return replace(intervals, intervals=wider)


def _settings(filmed: Filmed, match: MatchFile) -> Settings:
    """How far to fit, and the noise to begin with."""
    given = match.fitting
    end = filmed.footage.last
    if given.until is not None:
        end = min(end, match.time.release + given.until)
    noise = given.noise if given.noise is not None else track_noise(filmed.footage.tracks)
    noise = noise if np.isfinite(noise) and noise > 0 else NOISE
    return Settings(given.starts, given.seed, noise, end)


def with_intervals(
    fitted: Fitted, confidence: float, say: Say | None = None
) -> tuple[Fitted, Intervals]:
    """Return the intervals, and the fit itself, better where a profile met a better point."""
    for turn in range(3):
        if say is not None:
            say("intervals", turn, 3)
        intervals = profile(fitted, confidence)
        if intervals.better is None or turn == 2:
            break
        old = fitted.problem
        shares = old.base.shares.copy()
        shares[list(old.free)] = intervals.better
        again = FitProblem(old.predictor, replace(old.base, shares=shares), old.free, old.rows,
                        old.noise)  # fmt: skip
        solved = solve(again)
        if solved.loss < fitted.solved.loss:
            fitted = replace(fitted, problem=replace(again, base=solved.query), solved=solved)
    return fitted, intervals


def _cases(
    file: str,
    match: MatchFile,
    match_path: str,
    unknowns: tuple[Unknown, ...],
    changes: Sequence[str],
) -> Cases:
    """The scene with its varied keys, as a study would have it."""
    vary = spreads(unknowns, match.fit)
    study = Study(
        scene=str(Path(file).absolute()),
        set=dict(read_change(c, file) for c in changes),
        vary=vary,
        setup=() if vary else (SetupDescription(name="as given"),),
        place=match.place,
    )
    try:
        return cases(study, match_path)
    except InputError as error:
        key = (error.key or "").replace("vary.", "fit.")
        raise InputError(error.message, file=error.file, key=key or None) from None


def _require_sense(unknowns: tuple[Unknown, ...], filmed: Filmed, match_path: str) -> None:
    """Refuse more unknowns than footage can carry, and a plane's keys for a pinhole."""
    places = sum(t.seen for t in filmed.footage.tracks)
    if 2 * places <= len(unknowns) + 1:
        raise InputError(
            f"{len(unknowns)} unknowns from {2 * places} numbers cannot be fitted; track more"
            " frames or fit fewer",
            file=match_path,
            key="fit",
        )
    for unknown in unknowns:
        if unknown.key.startswith("view.") and not isinstance(filmed.view, PlaneView):
            raise InputError(
                "can be fitted of a plane only", file=match_path, key=f'fit."{unknown.key}"'
            )


def laid(result: FitResult, filmed: Filmed, match: MatchFile) -> TrackOverlay:
    """Lay the footage over the motion with the fitted values, all of it that was asked for."""
    fitted = result.fitted
    course = result.predictor.course(replace(fitted.solved.query, until=fitted.asked))
    release, view = result.predictor.camera(fitted.shares)
    bodies = result.predictor.cases.scene.bodies
    until = fitted.until - release + 1e-9
    return overlay(filmed.footage, view, course, bodies, release, match.fitting.noise, until)
