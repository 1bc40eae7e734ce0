"""One body's share of what acts as placed, by name: `report["blank"].force`."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, ClassVar

from snapsim.arrays import Array
from snapsim.landscape.pull_off import PullOff
from snapsim.numerics.units import quantity


@dataclass(frozen=True, eq=False)
class BodyForce:
    """What acts on a body: `force` (3,) [N] and `torque` (3,) [N m] about its centre of mass,
    magnetic only, world axes; `mean_polarisation` (3,) [T], `peak_polarisation` [T], its `cells`,
    and what pulls it off where it rests on something."""

    name: str
    force: Array
    torque: Array
    mean_polarisation: Array
    peak_polarisation: float
    cells: int
    pull_off: PullOff | None

    UNITS: ClassVar[dict[str, str]] = {
        "force": "N",
        "torque": "N m",
        "mean_polarisation": "T",
        "peak_polarisation": "T",
    }

    def quantity(self, name: str) -> Any:
        """Return one of these with its unit, to go on with: `.quantity("force").to("lbf")`."""
        return quantity(getattr(self, name), self.UNITS[name])
