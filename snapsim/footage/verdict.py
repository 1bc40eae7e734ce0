"""Whether motion and footage agree, said with the noise level.

The mean square of the residuals over the noise variance is chi-squared over n when they agree, so
its root lies within 1 +- 3/sqrt(2 n) (three standard deviations, n numbers). The largest 5 % are
left out first, as a tracker has some places wrong, and what is left is scaled by what normal noise
has there. Noise found from the tracks is itself uncertain (`noise`): then 15 % are allowed on top,
which is a choice.
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
    CLOSE = "close"
    OFF = "off"
    UNKNOWN = "unknown"


CLOSE = 3.0
"""Residuals of so many times the noise still count as close; a choice."""

SYSTEMATIC = 0.5
"""Frame to frame correlation from which residuals are said to be systematic; a choice."""

TRIMMED = 0.05
"""Share of places that a tracker may have wrong; a choice."""

_SLACK = 0.15


@dataclass(frozen=True)
class Verdict:
    """`agreement` and its sentence; `ratio` of residual scale to noise; `persistence` of the
    residuals, the largest of all tracks; `wrong` share of places beyond five deviations."""

    agreement: Agreement
    sentence: str
    ratio: float
    persistence: float
    wrong: float


def verdict(found: TrackOverlay, unknowns: int = 0, unit: str = "px") -> Verdict:
    """Judge an overlay, after a fit of so many unknowns."""
    residual = found.all
    spread = trimmed_rms(residual, unknowns)
    ratio = spread / found.noise
    kept = [persistence(t, r) for t, r in zip(found.footage.tracks, _inside(found), strict=True)]
    lasting = max((p for p in kept if np.isfinite(p)), default=float("nan"))
    wrong = float(np.mean(np.abs(residual) > 5 * max(spread, found.noise))) if len(residual) else 0
    agreement = _agreement(ratio, lasting, len(residual), found.given)
    return Verdict(agreement, _sentence(agreement, found, spread, unit), ratio, lasting, wrong)


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


def _sentence(agreement: Agreement, found: TrackOverlay, spread: float, unit: str) -> str:
    whose = "as given" if found.given else "found from the tracks alone"
    level = f"residuals of {spread:.3g} {unit}, noise of {found.noise:.3g} {unit} ({whose})"
    match agreement:
        case Agreement.WITHIN_NOISE:
            return f"Motion and footage agree within the noise: {level}."
        case Agreement.CLOSE:
            return (
                f"Motion and footage are close, but differ by more than noise: {level}."
                " Something in the scene, the camera or the model is a little off."
            )
        case Agreement.OFF:
            return f"The computed motion is not what was filmed: {level}."
    return f"Too little is known to judge: {level}."
