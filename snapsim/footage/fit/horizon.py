"""How far a bouncing motion can be followed: until it answers to its unknowns no longer in
proportion.

Each unknown is moved both ways by its standard error. Where the two changes r+ and r- of a computed
place are not each other's opposite, |r+ + r-| above one deviation of the noise and above half of
|r+ - r-| / 2, a fit by slopes is lost and its intervals would mean nothing: chaotic bounces, or
blows that come in another order. That is a choice of threshold, not a law.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from snapsim.arrays import Array
from snapsim.footage.fit.contract import Predictor, Query
from snapsim.footage.fit.least_squares import Solved, information

LEAST, MOST = 1e-3, 0.1
"""Bounds of the move, as a share of the unknown's bounds."""


def horizon(predictor: Predictor, query: Query, solved: Solved, blow: float, noise: float) -> float:
    """Return the time [s] in the footage until which the motion is sane; inf where all of it is.

    `solved` is an earlier fit of all unknowns; nothing before the `blow` is doubted.
    """
    steps = _errors(solved)
    queries = [query]
    for k, step in enumerate(steps):
        for sign in (1, -1):
            shares = query.shares.copy()
            shares[k] = np.clip(shares[k] + sign * step, 0, 1)
            queries.append(replace(query, shares=shares))
    answers = predictor.ask(queries)
    if not all(a.sound for a in answers):
        return -float("inf")
    here = answers[0].place
    first = float("inf")
    for plus, minus in zip(answers[1::2], answers[2::2], strict=True):
        bent = np.linalg.norm(plus.place + minus.place - 2 * here, axis=1)
        straight = np.linalg.norm(plus.place - minus.place, axis=1) / 2
        lost = (bent > noise) & (bent > 0.5 * straight)
        lost &= (predictor.time > blow) & (predictor.time <= query.until)
        if lost.any():
            first = min(first, float(predictor.time[lost].min()))
    return first


def _errors(solved: Solved) -> Array:
    """Standard errors of the shares, kept within sense."""
    matrix = information(solved.slopes, solved.z)
    variance = np.diag(np.linalg.pinv(matrix))
    return np.clip(np.sqrt(np.maximum(variance, 0)), LEAST, MOST)
