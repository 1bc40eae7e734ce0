"""The staged fit: from far off to the best values, smooth motion first.

1. *Scan*: scrambled Sobol points of all unknowns, followed to the first blow. The loss log(1 +
   (z/C)^2) forgives frames that a wrong start misses altogether (Cauchy's loss, Huber 1981).
2. *Smooth*: the best scans are fitted on the frames before the first blow, with the unknowns that
   act there. A blow computed too early or late moves smoothly with the unknowns, as the motion is
   held after it.
3. *After*: the unknowns that act only from the blow on, from several starts, with the time of the
   blow as an unknown of its own, since it falls between frames: an error of the smooth part does
   not spoil them.
4. *Jointly*: all unknowns on all frames, in windows after the blow that double in length, so that
   a long row of bounces is followed blow by blow. Where the motion turns too sensitive to follow
   (`horizon`) the fit ends.
"""

from __future__ import annotations

import warnings
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.stats import qmc

from snapsim.arrays import Array, BoolArray
from snapsim.errors import ComputationError
from snapsim.footage import robust_loss
from snapsim.footage.fit.contract import Predictor, Query, rows_between
from snapsim.footage.fit.horizon import horizon
from snapsim.footage.fit.least_squares import (
    DELAY,
    FitProblem,
    Solved,
    information,
    rescaled,
    residuals,
    solve,
)

CAUCHY = 5.0
"""Where the scan's loss turns forgiving [standard deviations]."""

BATCH = 8
"""Starts of a scan asked for at once."""

BEST = 3
"""Starts that are followed up."""

GOOD = 1.3
"""Residuals of so many times the noise end the search among starts."""

NEAR = 0.2
"""Relative change of the noise after which the joint fit is made once more."""

LATE_STARTS = 8
"""Starts of what acts only after the first blow, a dimension."""

WINDOW = 12
"""Frames after the first blow in the first joint fit."""

WINDOWS = 12
"""Windows at most."""

DULL = 0.05
"""An unknown acts where all of its range moves some place by more than so many deviations."""

Say = Callable[[str, int, int], None]


@dataclass(frozen=True)
class Settings:
    """`starts` scanned from `seed`; `noise` [px] to begin with; `end` [s] in the footage."""

    starts: int
    seed: int
    noise: float
    end: float


@dataclass(frozen=True)
class Fitted:
    """The best point: `shares` (d,) in `solved`; `rows` (m,) fitted, until `until` [s] in the
    footage, short of the `asked` end where the motion is too sensitive after. `noise` [px] is the
    robust scale of the residuals. `delay` [s] is what the blow's own time came to when it was free,
    with its standard error; nan without a blow. `stages` says what was done."""

    problem: FitProblem
    solved: Solved
    rows: BoolArray
    until: float
    asked: float
    noise: float
    blow: float
    delay: tuple[float, float]
    stages: tuple[str, ...]

    @property
    def shares(self) -> Array:
        """The best point (d,)."""
        return self.solved.query.shares


def staged_fit(predictor: Predictor, settings: Settings, say: Say | None = None) -> Fitted:
    """Fit all unknowns; raises ComputationError where no start can be computed."""
    tell = say or (lambda stage, done, of_all: None)
    stages: list[str] = []
    starts = _scan(predictor, settings, stages, tell)
    best, free = _best_smooth(predictor, settings, starts, tell)
    blow = predictor.ask([best])[0].blow
    stages.append(f"smooth part: {len(free)} of {predictor.size} unknowns act")
    query, delay = replace(best, whole=True), (np.nan, np.nan)
    late = tuple(k for k in range(predictor.size) if k not in free)
    if blow < settings.end:
        query, delay = _after(predictor, settings, query, late, blow, tell)
        stages.append(f"after the blow: its time moved by {1e3 * delay[0]:.3g} ms when free")
    return _jointly(predictor, settings, query, blow, delay, stages, tell)


def _scan(predictor: Predictor, settings: Settings, stages: list[str], tell: Say) -> list[Query]:
    """The best points of a Sobol set, and the middle."""
    with warnings.catch_warnings():  # any number of starts is allowed
        warnings.simplefilter("ignore", UserWarning)
        chance = np.random.default_rng(settings.seed)
        points = qmc.Sobol(predictor.size, scramble=True, rng=chance).random(settings.starts)
    points = np.vstack([np.full((1, predictor.size), 0.5), points])
    queries = [Query(p, False, settings.end) for p in points]
    losses: list[float] = []
    while len(losses) < len(queries):
        tell("scanning", len(losses), len(queries))
        losses += _forgiving(predictor, settings, queries[len(losses) : len(losses) + BATCH])
    order = np.argsort(losses)
    if not np.isfinite(losses[order[0]]):
        raise ComputationError(
            f"no start could be computed: {predictor.ask(queries[:1])[0].reason}"
        )
    stages.append(f"scan: {len(queries)} starts")
    return [queries[k] for k in order[:BEST] if np.isfinite(losses[k])]


def _forgiving(
    predictor: Predictor,
    settings: Settings,
    queries: Sequence[Query],
    begin: float = -np.inf,
    end: float = np.inf,
) -> list[float]:
    """Cauchy's loss of the rows from `begin` until the end; inf where nothing can be computed."""
    rows = rows_between(predictor, begin, min(end, settings.end))
    found = []
    for answer in predictor.ask(queries):
        z = residuals(predictor, answer, rows) / settings.noise
        loss = float(np.sum(np.log1p((z / CAUCHY) ** 2)))
        found.append(loss if answer.sound else float("inf"))
    return found


def _best_smooth(
    predictor: Predictor, settings: Settings, starts: list[Query], tell: Say
) -> tuple[Query, tuple[int, ...]]:
    """Follow up the starts until one fits to the noise; return the best and what acts there."""
    tried: list[tuple[float, int, Query, tuple[int, ...]]] = []
    for k, start in enumerate(starts):
        tell("smooth part", k, len(starts))
        found, free = _smooth(predictor, settings, start)
        (loss,) = _forgiving(predictor, settings, [found.query])
        tried.append((loss, k, found.query, free))
        if robust_loss.scale(found.z, len(free)) < GOOD:
            break
    return min(tried)[2:]


def _smooth(
    predictor: Predictor, settings: Settings, start: Query
) -> tuple[Solved, tuple[int, ...]]:
    """Fit the frames before the first blow, twice, as the blow itself moves; return what acts."""
    free = tuple(range(predictor.size))
    found = solve(_before(predictor, settings, start, free))
    free = _acting(found) or free
    found = solve(_before(predictor, settings, found.query, free))
    return found, free


def _before(
    predictor: Predictor, settings: Settings, query: Query, free: tuple[int, ...]
) -> FitProblem:
    """The problem of the frames before the blow that is computed at a point."""
    blow = predictor.ask([query])[0].blow
    rows = rows_between(predictor, -np.inf, min(blow, settings.end))
    if not rows.any():
        rows = rows_between(predictor, -np.inf, settings.end)
    return FitProblem(predictor, query, free, rows, settings.noise)


def _acting(found: Solved) -> tuple[int, ...]:
    """The unknowns that move something."""
    most = np.abs(found.slopes).max(axis=0, initial=0.0)
    return tuple(int(k) for k in np.flatnonzero(most > DULL))


def _after(
    predictor: Predictor,
    settings: Settings,
    query: Query,
    late: tuple[int, ...],
    blow: float,
    tell: Say,
) -> tuple[Query, tuple[float, float]]:
    """Fit what acts from the blow on, with the time of the blow free."""
    end = min(settings.end, blow + WINDOW * _spacing(predictor))
    rows = rows_between(predictor, blow, end)
    if rows.sum() * 2 <= len(late) + 1:
        return query, (np.nan, np.nan)
    base = replace(query, until=end)
    tell("after the blow", 0, 1)
    points = _late_points(late, settings)
    tries = [replace(base, shares=_with(base.shares, late, point)) for point in points]
    losses = _forgiving(predictor, settings, tries, blow, end)
    found: list[Solved] = []
    for k in np.argsort(losses, kind="stable")[:2]:
        found.append(
            solve(FitProblem(predictor, tries[k], late, rows, settings.noise, delayed=True))
        )
        if robust_loss.scale(found[-1].z, len(late) + 1) < GOOD:
            break
    best = min(found, key=lambda s: s.loss)
    return replace(best.query, delay=0.0), _delay(best)


def _with(shares: Array, which: tuple[int, ...], values: Array) -> Array:
    changed = shares.copy()
    changed[list(which)] = values
    return changed


def _delay(found: Solved) -> tuple[float, float]:
    """The free delay and its standard error [s]."""
    spread = robust_loss.scale(found.z, len(found.x))
    return found.query.delay, _delay_error(found) * (spread if np.isfinite(spread) else 1.0)


def _delay_error(found: Solved) -> float:
    """Standard error of the free delay [s], for residuals of one deviation."""
    matrix = information(found.slopes, found.z)
    return DELAY * float(np.sqrt(np.linalg.pinv(matrix)[-1, -1]))


def _late_points(late: tuple[int, ...], settings: Settings) -> Array:
    """Starts (s, l) of what acts after the blow; the single empty one without any."""
    if not late:
        return np.empty((1, 0))
    if len(late) == 1:
        return ((np.arange(LATE_STARTS) + 0.5) / LATE_STARTS)[:, None]
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", UserWarning)
        chance = np.random.default_rng([settings.seed, 1])
        return np.asarray(
            qmc.Sobol(len(late), scramble=True, rng=chance).random(LATE_STARTS * len(late))
        )


def _spacing(predictor: Predictor) -> float:
    """Usual time between frames [s]."""
    times = np.unique(predictor.time)
    return float(np.median(np.diff(times))) if len(times) > 1 else 1e-3


def _jointly(
    predictor: Predictor,
    settings: Settings,
    query: Query,
    blow: float,
    delay: tuple[float, float],
    stages: list[str],
    tell: Say,
) -> Fitted:
    """Fit everything in growing windows, then once more where the noise is another one."""
    solved = _grown(predictor, settings, query, blow, tell)
    noise, until = settings.noise, solved.query.until
    rows, everything = rows_between(predictor, -np.inf, until), tuple(range(predictor.size))
    found = _scale(noise * solved.z, predictor.size, noise)
    if abs(found / noise - 1) > NEAR:
        noise = found
        solved = solve(FitProblem(predictor, solved.query, everything, rows, noise))
    last = _scale(noise * solved.z, predictor.size, noise)
    solved = rescaled(solved, noise / last)
    problem = FitProblem(predictor, solved.query, everything, rows, last)
    stages.append(f"jointly: {int(rows.sum())} places")
    return Fitted(problem, solved, rows, until, settings.end, last, blow, delay, tuple(stages))


def refined(
    fitted: Fitted, predictor: Predictor, settings: Settings, say: Say | None = None
) -> Fitted:
    """Go on from a fit with another predictor of the same places, as one with finer cells."""
    tell = say or (lambda stage, done, of_all: None)
    tell("finer cells", 0, 2)
    query = replace(fitted.solved.query, whole=False, until=settings.end)
    smooth, free = _smooth(predictor, settings, query)
    blow, delay = predictor.ask([smooth.query])[0].blow, (np.nan, np.nan)
    if np.isfinite(fitted.delay[0]):
        late = tuple(k for k in range(predictor.size) if k not in free)
        end = min(settings.end, blow + WINDOW * _spacing(predictor))
        rows = rows_between(predictor, blow, end)
        base = replace(smooth.query, whole=True, until=end)
        after = solve(FitProblem(predictor, base, late, rows, settings.noise, delayed=True))
        delay = _delay(after)
    tell("finer cells", 1, 2)
    start = replace(smooth.query, whole=True, until=fitted.until)
    problem = FitProblem(predictor, start, fitted.problem.free, fitted.rows, settings.noise)
    solved = solve(problem)
    noise = _scale(settings.noise * solved.z, predictor.size, settings.noise)
    solved = rescaled(solved, settings.noise / noise)
    problem = replace(problem, base=solved.query, noise=noise)
    stages = (*fitted.stages, "once more with finer cells")
    found = replace(fitted, problem=problem, solved=solved, noise=noise, stages=stages)
    return replace(found, blow=blow, delay=delay)


def _scale(residual: Array, unknowns: int, otherwise: float) -> float:
    found = robust_loss.scale(residual, unknowns)
    return found if np.isfinite(found) and found > 0 else otherwise


def _grown(
    predictor: Predictor, settings: Settings, query: Query, blow: float, tell: Say
) -> Solved:
    """Fit all unknowns until the first window's end, then on as far as the motion stays sane."""
    spacing, everything = _spacing(predictor), tuple(range(predictor.size))

    def fit_until(until: float, start: Query) -> Solved:
        rows = rows_between(predictor, -np.inf, until)
        base = replace(start, until=until)
        return solve(FitProblem(predictor, base, everything, rows, settings.noise))

    until = min(settings.end, blow + WINDOW * spacing)
    solved = fit_until(until, query)
    for turn in range(WINDOWS):
        tell("jointly", turn, WINDOWS)
        if until >= settings.end - 0.5 * spacing:
            break
        target = min(settings.end, blow + 2 * (until - blow))
        ahead = replace(solved.query, until=target)
        sane = horizon(predictor, ahead, solved, blow, settings.noise) - 0.5 * spacing
        if min(sane, target) <= until + spacing:
            break
        until = min(sane, target)
        solved = fit_until(until, solved.query)
    return solved
