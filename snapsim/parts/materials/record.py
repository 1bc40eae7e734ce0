"""What snapsim knows of a material. SI units; None means not known, and nothing is guessed."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from snapsim.arrays import Array


@dataclass(frozen=True)
class MagnetisationCurve:
    """Anhysteretic curve of a soft material, isotropic.

    Without a table: M = chi H / (1 + chi H / M_s), M_s = saturation / mu_0, `susceptibility` chi
    and `saturation` polarisation [T] (None: linear, M = chi H). With a table: `field_strength` H
    (k,) [A/m] and `flux_density` B (k,) [T], both strictly rising from (0, 0); monotone
    interpolation, slope mu_0 beyond the last point.
    """

    susceptibility: float | None = None
    saturation: float | None = None
    field_strength: Array = field(default_factory=lambda: np.empty(0))
    flux_density: Array = field(default_factory=lambda: np.empty(0))

    @property
    def tabulated(self) -> bool:
        """True where the curve is given as a table."""
        return self.field_strength.size > 0


@dataclass(frozen=True)
class Material:
    """A material by name; `source` says where each number comes from, key by key."""

    name: str
    density: float
    curve: MagnetisationCurve | None = None
    remanence: float | None = None
    recoil_permeability: float | None = None
    coercivity: float | None = None
    youngs_modulus: float | None = None
    poissons_ratio: float | None = None
    strength: float | None = None
    tensile_strength: float | None = None
    hardness: float | None = None
    weibull_modulus: float | None = None
    weibull_strength: float | None = None
    conductivity: float | None = None
    family: str = ""
    source: dict[str, str] = field(default_factory=dict)

    @property
    def is_magnet(self) -> bool:
        """True for a permanent magnet grade."""
        return self.remanence is not None

    @property
    def is_soft(self) -> bool:
        """True for iron and its like: magnetised by a field, without remanence."""
        return self.curve is not None and not self.is_magnet
