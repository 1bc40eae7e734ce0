"""One body's share of a run, by name: `run["blank"].position`."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, ClassVar

from snapsim.arrays import Array
from snapsim.numerics.units import quantity


@dataclass(frozen=True, eq=False)
class BodyMotion:
    """A body at the stored frames k: `time` (k,) [s], `position` (k, 3) [m] of its centre of mass,
    `quaternion` (k, 4), scalar first, body to world, `velocity` (k, 3) [m/s], `spin` (k, 3)
    [rad/s], magnetic `force` (k, 3) [N] and `torque` (k, 3) [N m] about the centre of mass, world
    axes, `kinetic_energy` (k,) [J]."""

    name: str
    time: Array
    position: Array
    quaternion: Array
    velocity: Array
    spin: Array
    force: Array
    torque: Array
    kinetic_energy: Array

    UNITS: ClassVar[dict[str, str]] = {
        "time": "s",
        "position": "m",
        "quaternion": "",
        "velocity": "m/s",
        "spin": "rad/s",
        "force": "N",
        "torque": "N m",
        "kinetic_energy": "J",
    }

    def quantity(self, name: str) -> Any:
        """Return one of these with its unit, to go on with: `.quantity("force").to("lbf")`."""
        return quantity(getattr(self, name), self.UNITS[name])
