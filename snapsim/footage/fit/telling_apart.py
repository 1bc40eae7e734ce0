"""What the footage cannot tell, and what else to measure.

Two unknowns are traded against each other where their correlation by slopes is above `TRADED`: the
motion stays nearly the same along the ridge on which both move. To see what would part them, the
scene is asked at both ends of that ridge for what can be measured without filming: the pull on a
part as placed, and its mass. Where neither differs by a measurable share, common practice
(no source) is named for each key.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from snapsim.arrays import Array
from snapsim.footage.course import Course
from snapsim.footage.fit.contract import Query
from snapsim.footage.fit.profile import Intervals
from snapsim.footage.fit.simulated import Simulated
from snapsim.footage.fit.staged import Fitted
from snapsim.footage.fit.unknowns import Unknown

TRADED = 0.95
"""Correlation from which two unknowns are said to be traded; a choice."""

WIDE = 0.5
"""Share of its bounds that the interval of an unknown may take before it is called unknown."""

MEASURABLE = 0.01
"""Relative difference of a pull or a mass that a hand scale shows; a choice."""

HINTS = (
    ("restitution", "let the part drop on the same surface and see how high it comes back"),
    ("friction", "tilt the support until the part slides: friction is the tangent of that angle"),
    ("remanence", "measure the flux density at the pole, or the pull on a known piece of steel"),
    ("curve", "measure the pull on this part below a magnet that is known"),
    ("susceptibility", "measure the pull on this part below a magnet that is known"),
    ("saturation", "measure the pull on this part with its face on a magnet that is known"),
    ("density", "weigh the part"),
    ("air_gap", "measure the coating or tape with a feeler gauge"),
    ("position", "measure the distance with a rule or gauge blocks"),
    ("rotation", "measure the angle, or film the part at rest before its release"),
    ("gravity", "gravity is known to 0.3 % anywhere: take it out of the fit"),
    ("time.release", "let a lamp or a contact in the picture show the release"),
    ("view", "film a rule in the plane of the motion"),
)
"""What to measure of a key that has this in it; common practice, no source."""


@dataclass(frozen=True)
class Ambiguity:
    """`keys` (one, or two that are traded), their `correlation`, and what `helps`."""

    keys: tuple[str, ...]
    correlation: float
    sentence: str
    helps: tuple[str, ...]


def ambiguities(
    predictor: Simulated, unknowns: tuple[Unknown, ...], fitted: Fitted, found: Intervals
) -> tuple[Ambiguity, ...]:
    """Return what the footage leaves open."""
    out = []
    for i, interval in enumerate(found.intervals):
        if interval.high - interval.low > WIDE or (interval.open_low and interval.open_high):
            key = unknowns[i].key
            said = f"the footage says little of {key}"
            helps = (*_measured(predictor, fitted, found, i), *_hints((key,)))
            out.append(Ambiguity((key,), 1.0, said, helps))
    for i in range(len(unknowns)):
        for j in range(i):
            r = float(found.correlation[i, j])
            if abs(r) > TRADED:
                keys = (unknowns[j].key, unknowns[i].key)
                said = f"{keys[0]} and {keys[1]} are hard to tell apart (correlation {r:.3f})"
                helps = (*_measured(predictor, fitted, found, i), *_hints(keys))
                out.append(Ambiguity(keys, r, said, helps))
    return tuple(out)


def _hints(keys: tuple[str, ...]) -> list[str]:
    """What common practice has for each key."""
    found = [f"{key}: {hint}" for key in keys for word, hint in HINTS if word in key]
    return list(dict.fromkeys(found))


def _measured(predictor: Simulated, fitted: Fitted, found: Intervals, i: int) -> list[str]:
    """Pulls and masses that differ between the ends of the ridge along unknown i."""
    ridge = found.correlation[:, i] * found.error
    courses = []
    for sign in (-1.96, 1.96):
        shares = np.clip(fitted.shares + sign * ridge, 0, 1)
        courses.append(_begun(predictor, fitted.solved.query, shares))
    low, high = courses
    if low is None or high is None:
        return []
    said = []
    tracked = {t.body for t in predictor.tracks}
    for b, body in enumerate(low.bodies):
        if body not in tracked:
            continue
        pulls = [float(np.linalg.norm(c.pull[b])) for c in courses if c is not None]
        masses = [float(c.mass[b]) for c in courses if c is not None]
        said += _differs(f"the static pull on {body} as placed", pulls, "N")
        said += _differs(f"the mass of {body}", masses, "kg")
    return said


def _differs(what: str, ends: list[float], unit: str) -> list[str]:
    """One line where a measurement would part the ends."""
    middle = sum(ends) / 2
    share = abs(ends[1] - ends[0]) / middle if middle > 0 else 0.0
    if share < MEASURABLE:
        return []
    return [
        f"measure {what} to {100 * share / 4:.1f} % or better: it goes from {ends[0]:.4g} to"
        f" {ends[1]:.4g} {unit} along the values that the footage allows"
    ]


def _begun(predictor: Simulated, query: Query, shares: Array) -> Course | None:
    """The scene as placed at a point of the unknowns; None where it cannot be."""
    start = replace(query, shares=shares, whole=False, until=predictor.camera(shares)[0])
    return predictor.course(start) if predictor.ask([start])[0].sound else None
