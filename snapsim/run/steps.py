"""How finely a system's motion is stepped: by its `detail` or `tolerance`, and its parts' size.

A step of flight may err by `relative` times lengths and speeds: lengths of ten times the smallest
free part's reach, at most a tenth of a metre; speeds of ten times what is met in falling by that
reach or at the start, at most 1 m/s (a field may bring any speed, so then it is 1 m/s). So a nut
of 2 mm flies as closely, for its size, as a blank of 100 mm. The gap of a micrometre under which
bodies touch stays as it is: made a ten-thousandth of a part of 2 mm, a rattle among magnets lost
100 times as much of its energy.

Loads of the field are known to `LOADS` of themselves, a part's cells let them err by far more, and
solving them at every pose costs ten times as much: so they follow only a `tolerance` that a scene
asks for. Where they cannot be interpolated (more bodies than `energy_between_poses` can follow)
`detail` leaves the flight at `LOADS`, too.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Final

import numpy as np

from snapsim.mechanics.motion_settings import MotionSettings, Tolerances
from snapsim.mechanics.rigid_bodies import rigid_bodies
from snapsim.simulation.energy_between_poses import pose_space
from snapsim.simulation.system import Detail, System

LOADS: Final = 1e-6
"""Relative bound that loads are good for, unless a scene has a tighter `tolerance`."""

STEPS: Final = MotionSettings(tolerances=Tolerances(relative=LOADS, length=1e-7, speed=1e-6))
"""Steps of draft detail: impact energies come to about 1e-6 of themselves."""

RELATIVE: Final[dict[Detail, float]] = {"draft": 1e-6, "normal": 1e-8, "fine": 1e-10}
"""Share of lengths and speeds that a step of flight may err by. A box of 100 x 60 x 20 mm that
tumbles about its middle axis at 20 rad/s is off by 0.4, 2e-3, 2e-5 rad after 1.5 s."""

FINE_CONTACT: Final = 0.5
"""Length of contact's steps at fine detail: their errors go with the square."""

REACHES: Final = 10.0
"""Lengths that errors are measured by, over the smallest free part's reach."""


def steps_of(system: System) -> MotionSettings:
    """Return the numbers that steer the motion of a system."""
    smallest, fastest = _sizes(system)
    length, speed = min(0.1, REACHES * smallest), min(1.0, fastest)
    if system.tolerance is not None:
        shorter = float(np.clip((system.tolerance / LOADS) ** 0.25, 0.1, 1.0))
        relative, loads = system.tolerance, system.tolerance
    else:
        shorter = FINE_CONTACT if system.detail == "fine" else 1.0
        relative, loads = RELATIVE.get(system.detail, LOADS) if _cheap(system) else LOADS, LOADS
    bounds = Tolerances(relative, relative * length, relative * speed, loads)
    return shortened(replace(STEPS, tolerances=bounds), shorter)


def shortened(settings: MotionSettings, share: float) -> MotionSettings:
    """Return settings whose steps of contact have `share` of their length."""
    return replace(
        settings,
        contact_step=settings.contact_step * share,
        turn=settings.turn * share,
        load_change=settings.load_change * share,
        fall=settings.fall * share**2,
        fall_share=settings.fall_share * share**2,
    )


def _cheap(system: System) -> bool:
    """Whether loads are none, or can be interpolated."""
    acting = [i for i, b in enumerate(system.bodies) if b.is_magnet or system.has_cells(b)]
    return len(acting) < 2 or pose_space(system.bodies, acting, system.gravity) is not None


def _sizes(system: System) -> tuple[float, float]:
    """The smallest free part's reach [m], and speeds [m/s] to measure errors by."""
    bodies = rigid_bodies(system.bodies)
    if not bodies.free.any():
        return 1.0, 1.0
    smallest = float(bodies.reach[bodies.free].min())
    if any(b.is_magnet for b in system.bodies):
        return smallest, 1.0
    falling = (2 * float(np.linalg.norm(system.gravity)) * smallest) ** 0.5
    started = float(bodies.rim_speeds(system.start).max())
    return smallest, max(REACHES * max(falling, started), 1e-3)
