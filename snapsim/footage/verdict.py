"""Whether motion and footage agree, said with the noise level.

The mean square of the residuals over the noise variance is chi-squared over n when they agree, so
its root lies within 1 +- 3/sqrt(2 n) (three standard deviations, n numbers). The largest 5 % are
left out first, as a tracker has some places wrong, and what is left is scaled by what normal noise
has there. Noise found from the tracks is itself uncertain (`noise`): then 15 % are allowed on top,
which is a choice.

Small residuals that keep their sign do not agree either: in each coordinate of each track the
number of runs of one sign is held against what independent residuals have (Wald and Wolfowitz, Ann.
Math. Statist. 11 (1940) 147), and the largest partial sum against a random walk's (reflection
principle: P(max |S| > x sqrt(n)) <= 4 (1 - Phi(x)); both from memory), at `RARE` over all of them;
and a first blow that falls
more than `LATE` standard errors beside the time that the motion before it gives is no agreement.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from scipy import stats

from snapsim.arrays import Array
from snapsim.footage.overlay import TrackOverlay, persistence


class Agreement(StrEnum):
    """How well motion and footage agree; the value stands in files."""

    WITHIN_NOISE = "within the noise"
    SYSTEMATIC = "systematic"
    CLOSE = "close"
    OFF = "off"
    UNKNOWN = "unknown"


CLOSE = 3.0
"""Residuals of so many times the noise still count as close; a choice."""

SYSTEMATIC = 0.5
"""Frame to frame correlation from which residuals are said to be systematic; a choice."""

RARE = 0.01
"""Chance, over all tracks, with which independent residuals are called systematic; a choice."""

LATE = 4.0
"""Standard errors by which a first blow may be beside its time; a choice."""

TRIMMED = 0.05
"""Share of places that a tracker may have wrong; a choice."""

_SLACK = 0.15


@dataclass(frozen=True)
class Verdict:
    """`agreement` and its sentence; `ratio` of residual scale to noise; `persistence` of the
    residuals, the largest of all tracks; `wrong` share of places beyond five deviations; `runs`
    the smallest chance of such few changes of sign or such drift, times the tests made."""

    agreement: Agreement
    sentence: str
    ratio: float
    persistence: float
    wrong: float
    runs: float = 1.0


def verdict(
    found: TrackOverlay,
    unknowns: int = 0,
    unit: str = "px",
    delay: tuple[float, float] = (np.nan, np.nan),
) -> Verdict:
    """Judge an overlay, after a fit of so many unknowns.

    `delay` is by how much the first blow, left free, fell beside its time, and the standard error
    of that [s].
    """
    residual = found.all
    spread = trimmed_rms(residual, unknowns)
    ratio = spread / found.noise
    kept = [persistence(t, r) for t, r in zip(found.footage.tracks, _inside(found), strict=True)]
    lasting = max((p for p in kept if np.isfinite(p)), default=float("nan"))
    wrong = float(np.mean(np.abs(residual) > 5 * max(spread, found.noise))) if len(residual) else 0
    columns = [c for k in range(len(found.residual)) for c in found.compared(k).T]
    chances = [f(c) for c in columns for f in (runs_chance, drift_chance)]
    few = min([1.0, *(len(chances) * p for p in chances)])
    late = bool(np.isfinite(delay[0]) and abs(delay[0]) > LATE * delay[1])
    agreement = _agreement(ratio, lasting, len(residual), found.given)
    if agreement == Agreement.WITHIN_NOISE and (few < RARE or late):
        agreement = Agreement.SYSTEMATIC
    said = _sentence(agreement, found, spread, unit, late)
    return Verdict(agreement, said, ratio, lasting, wrong, few)


def runs_chance(residual: Array) -> float:
    """Return the chance of so few runs of one sign in independent residuals (n,), or fewer.

    Normal approximation; 1 where there are fewer than ten of either sign.
    """
    signs = residual[np.isfinite(residual) & (residual != 0)] > 0
    above, below = int(signs.sum()), int((~signs).sum())
    n = above + below
    if min(above, below) < 10:
        # nearly all on one side: independent ones are as likely above as below
        return float(stats.binomtest(above, n).pvalue) if n >= 20 else 1.0
    runs = 1 + int(np.count_nonzero(signs[1:] != signs[:-1]))
    mean = 1 + 2 * above * below / n
    variance = (mean - 1) * (mean - 2) / (n - 1)
    return float(stats.norm.cdf((runs + 0.5 - mean) / np.sqrt(variance)))


def trimmed_rms(residual: Array, unknowns: int = 0) -> float:
    """Root mean square of residuals (n,) without the largest 5 %, as if of all of them if normal.

    Nan with no more residuals than unknowns.
    """
    n = len(residual)
    if n <= unknowns:
        return float("nan")
    kept = np.sort(residual**2)[: max(1, round((1 - TRIMMED) * n))]
    edge = float(stats.norm.ppf(1 - TRIMMED / 2))
    normal = 1 - 2 * edge * float(stats.norm.pdf(edge)) / (1 - TRIMMED)
    return float(np.sqrt(np.sum(kept) / (len(kept) * normal) * n / (n - unknowns)))


def _inside(found: TrackOverlay) -> list[Array]:
    return [
        np.where((t.time - found.release <= found.until)[:, None], r, np.nan)
        for t, r in zip(found.footage.tracks, found.residual, strict=True)
    ]


def _agreement(ratio: float, lasting: float, n: int, given: bool) -> Agreement:
    if not np.isfinite(ratio) or n == 0:
        return Agreement.UNKNOWN
    most = 1 + 3 / np.sqrt(2 * n) + (0 if given else _SLACK)
    if ratio <= most and not lasting > SYSTEMATIC:
        return Agreement.WITHIN_NOISE
    return Agreement.CLOSE if ratio <= CLOSE else Agreement.OFF


def drift_chance(residual: Array) -> float:
    """Return at most the chance that independent residuals (n,) drift as far; 1 of less than ten.

    In units of their own spread, wrong places held at three of it.
    """
    known = residual[np.isfinite(residual)]
    if len(known) < 10:
        return 1.0
    spread = trimmed_rms(known)
    if not spread > 0:
        return 1.0
    walk = np.abs(np.cumsum(np.clip(known / spread, -3.0, 3.0))).max() / np.sqrt(len(known))
    return float(min(1.0, 4.0 * stats.norm.sf(walk)))


def _sentence(
    agreement: Agreement, found: TrackOverlay, spread: float, unit: str, late: bool
) -> str:
    whose = "as given" if found.given else "found from the tracks alone"
    level = f"residuals of {spread:.3g} {unit}, noise of {found.noise:.3g} {unit} ({whose})"
    match agreement:
        case Agreement.WITHIN_NOISE:
            return f"Motion and footage agree within the noise: {level}."
        case Agreement.SYSTEMATIC:
            why = (
                "the first blow falls at another time than the motion before it says"
                if late
                else "the residuals keep their sign for longer than noise does"
            )
            return (
                f"Motion and footage do not agree, though {level}: {why}. Something in the scene,"
                " the camera or the model is off, and so may fitted values be."
            )
        case Agreement.CLOSE:
            return (
                f"Motion and footage do not agree, though close: they differ by more than noise:"
                f" {level}. Something in the scene, the camera or the model is a little off."
            )
        case Agreement.OFF:
            return f"The computed motion is not what was filmed: {level}."
    return f"Too little is known to judge: {level}."
