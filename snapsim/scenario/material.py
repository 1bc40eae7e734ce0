"""A material of the scene's own: a magnet, a soft magnetic one, or neither."""

from __future__ import annotations

from itertools import pairwise
from pathlib import Path
from typing import Annotated, Self

from pydantic import AfterValidator, Field, model_validator

from snapsim.constants import MU_0
from snapsim.errors import InputError, label
from snapsim.scenario.curve_file import read_curve
from snapsim.scenario.fields import (
    Conductivity,
    CurveFluxDensity,
    Density,
    FieldStrength,
    FluxDensity,
    Name,
    Number,
    Stress,
    Table,
    positive,
)

LARGEST_POLARISATION = 2.5
"""No known material exceeds 2.45 T (iron-cobalt; Bozorth, Ferromagnetism, 1951, from memory)."""

CurvePoint = tuple[FieldStrength, CurveFluxDensity]


def sound_curve(points: tuple[CurvePoint, ...]) -> tuple[CurvePoint, ...]:
    """Return rows; refuse a table from which no magnetisation curve can be made, naming the row."""
    if len(points) < 2:
        raise ValueError("needs at least two rows, the first of them 0 A/m, 0 T")
    if points[0] != (0.0, 0.0):
        raise ValueError("row 1 must be 0 A/m, 0 T")
    for row, ((h0, b0), (h1, b1)) in enumerate(pairwise(points), start=2):
        if h1 <= h0:
            raise ValueError(f"row {row}: field strength {h1:g} A/m must exceed {h0:g} A/m above")
        if b1 <= b0:
            raise ValueError(f"row {row}: flux density {b1:g} T must exceed {b0:g} T above it")
        if b1 - b0 < MU_0 * (h1 - h0) * (1 - 1e-6):
            raise ValueError(
                f"row {row}: flux density must rise at least by mu_0 times the rise of field"
                f" strength, {MU_0 * (h1 - h0):.4g} T; it rises by {b1 - b0:.4g} T"
            )
        if b1 - MU_0 * h1 > LARGEST_POLARISATION:
            raise ValueError(
                f"row {row}: polarisation {b1 - MU_0 * h1:.3g} T; at most"
                f" {LARGEST_POLARISATION:g} T is allowed"
            )
    return points


def _poisson(value: float) -> float:
    if not -1 < value < 0.5:
        raise ValueError(f"is {value:g}; it must lie above -1 and below 0.5")
    return value


def _possible_polarisation(value: float) -> float:
    if value > LARGEST_POLARISATION:
        raise ValueError(f"is {value:g} T; at most {LARGEST_POLARISATION:g} T is allowed")
    return value


def _permeability(value: float) -> float:
    if not 1 <= value <= 10:
        raise ValueError(f"is {value:g}; a magnet's relative recoil permeability is 1 to 10")
    return value


def _modulus(value: float) -> float:
    if not 1 < value <= 100:
        raise ValueError(f"is {value:g}; a Weibull modulus lies above 1 and up to 100")
    return value


Polarisation = Annotated[FluxDensity, AfterValidator(_possible_polarisation)]


class MaterialDescription(Table):
    """One [[material]]; it wins over a built-in one of the same name."""

    name: Name = Field(description="by which bodies and contact pairs call it")
    density: Density = Field(description="of the solid material")
    susceptibility: Annotated[Number, AfterValidator(positive)] | None = Field(
        None, description="of a soft material; linear unless a saturation is given too"
    )
    saturation: Polarisation | None = Field(None, description="saturation polarisation J_s")
    curve: Annotated[tuple[CurvePoint, ...], AfterValidator(sound_curve)] | None = Field(
        None, description="rows of field strength and flux density, rising from 0 A/m, 0 T"
    )
    curve_file: str | None = Field(
        None,
        min_length=1,
        description="in place of curve: a CSV file, its path from the scene's folder, with two"
        ' columns headed like "H (A/m), B (T)"; a column J (T) is polarisation',
        examples=["steel.csv"],
    )
    remanence: Polarisation | None = Field(None, description="makes the material a magnet")
    recoil_permeability: Annotated[Number, AfterValidator(_permeability)] | None = Field(
        None, description="of a magnet, relative; it counts with recoil under [run]"
    )
    coercivity: Annotated[FieldStrength, AfterValidator(positive)] | None = Field(
        None, description="of a magnet; told, not computed with"
    )
    youngs_modulus: Stress | None = Field(
        None, description="for how blows are shared and peak forces"
    )
    poissons_ratio: Annotated[Number, AfterValidator(_poisson)] | None = Field(
        None, description="beside youngs_modulus"
    )
    strength: Stress | None = Field(
        None, description="yield strength, or of a magnet tensile strength"
    )
    tensile_strength: Stress | None = Field(
        None, description="of a brittle material; `strength` serves where it is not given"
    )
    hardness: Stress | None = Field(
        None, description="indentation hardness; a Vickers number times 9.807 MPa"
    )
    weibull_modulus: Annotated[Number, AfterValidator(_modulus)] | None = Field(
        None, description="of a brittle magnet's strength, for the chance of chipping; else 7 to 15"
    )
    weibull_strength: Stress | None = Field(
        None, description="its scale for 1 cm^2 of surface; else 180 to 330 MPa"
    )
    conductivity: Conductivity | None = Field(None, description="for the estimate of eddy currents")
    family: str = Field("own material", description="what kind of material, for lists and looks")
    source: dict[str, str] = Field({}, description="where each value comes from, key by key")

    @model_validator(mode="after")
    def _one_kind(self) -> Self:
        if self.saturation is not None and self.susceptibility is None:
            raise ValueError("saturation needs susceptibility beside it, or give a curve instead")
        ways = ("curve", "curve_file", "susceptibility")
        given = [name for name in ways if getattr(self, name) is not None]
        if len(given) > 1:
            raise ValueError(f"has both {given[0]} and {given[1]}; give one of them")
        soft = bool(given)
        if soft and self.remanence is not None:
            raise ValueError(
                "is a magnet (remanence) and soft (curve or susceptibility) at once; give one;"
                " recoil_permeability describes a magnet's own permeability"
            )
        if self.remanence is None and (self.coercivity or self.recoil_permeability):
            raise ValueError("coercivity and recoil_permeability need remanence: only magnets")
        return self

    def inlined(self, folder: Path, file: str) -> Self:
        """Return it with its curve's file read; raises InputError."""
        if self.curve_file is None:
            return self
        try:
            curve = sound_curve(read_curve(folder, self.curve_file))
        except ValueError as error:
            key = f"material.{label(self.name)}.curve_file"
            raise InputError(str(error), file=file, key=key) from None
        return self.model_copy(update={"curve": curve, "curve_file": None})
