"""Placing a body at a given gap from another, so that a what-if can turn it without overlap.

The body is moved along a direction until the signed gap between the two is the wanted one:
gap(s) = g, solved for the way s by bracketing outward from the body's place and Brent's method.
Valid where the gap changes sign against g once along the way, as on a table; the first such place
is taken, looking back before looking ahead.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.optimize import brentq

from snapsim.errors import InputError
from snapsim.mechanics.contact import ContactGeometry
from snapsim.parts.states import Pose
from snapsim.simulation.system import System

CLEAR = 1e-7
"""Gap [m] to the support on which a part is set down."""

ACCURACY = 1e-9
"""How exactly the gap is met [m]."""


@dataclass(frozen=True)
class Placement:
    """`body` is moved along `direction` (3,) until its gap to body `to` is `gap` [m]."""

    body: str
    to: str
    direction: tuple[float, float, float] = (0.0, 0.0, -1.0)
    gap: float = 0.0


def set_down(system: System, body: int, on: str | None) -> System:
    """Return the system with a body set down on the one called `on`; None: the same."""
    if on is None:
        return system
    return placed(system, Placement(system.bodies[body].name, on, gap=CLEAR))


def placed(system: System, placement: Placement) -> System:
    """Return the system with one body moved; raises InputError where no place fits."""
    one, other = (_number(system, name) for name in (placement.body, placement.to))
    pair = (system.bodies[one], system.bodies[other])
    geometry = ContactGeometry(
        tuple(replace(b, fixed=k == 1) for k, b in enumerate(pair)), system.surfaces
    )
    pose, way = system.start.pose, np.array(placement.direction)

    def short(s: float) -> float:
        position = pose.position[[one, other]].copy()
        position[0] += s * way
        gaps = geometry.gaps(Pose(position, pose.quaternion[[one, other]]))
        return float(gaps[0]) - placement.gap

    s = _root(short, placement)
    position = pose.position.copy()
    position[one] += s * way
    return replace(system, start=replace(system.start, pose=replace(pose, position=position)))


def _number(system: System, name: str) -> int:
    try:
        return system.number(name)
    except KeyError:
        known = ", ".join(b.name for b in system.bodies)
        raise InputError(
            f'"{name}" is no body of the scene; allowed: {known}', file=system.file, key="place"
        ) from None


def _root(short: object, placement: Placement) -> float:
    """Bracket s where the gap falls short, growing the reach from 1 mm to 4 m both ways."""
    assert callable(short)
    if abs(short(0.0)) < ACCURACY:
        return 0.0
    reach, back, ahead = 1e-3, 0.0, 0.0
    while reach < 4.0:
        sign = np.sign(short(0.0))
        for near, far in ((back, -reach), (ahead, reach)):
            if np.sign(short(far)) != sign:
                return float(brentq(short, near, far, xtol=ACCURACY))
        back, ahead, reach = -reach, reach, 1.5 * reach
    raise InputError(
        f'no place along the way has a gap of {1e3 * placement.gap:.4g} mm to "{placement.to}"',
        key=f"place.{placement.body}",
    )
