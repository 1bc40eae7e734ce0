"""The built-in materials: one TOML file a family in this folder, every value with its source.

A file has `place` (where the family stands among the others), `[[material]]` entries and, where
these share something, a `[common]` table that every entry starts from. An entry has name, family,
and values `{ value, unit, source }`; a tabulated magnetisation curve is a table `curve` of source,
units, rows, and whether these give "flux density" or "polarisation" over field strength. Units are
those of `UNITS`: SI, written out for the reader and checked. Anything else is a ValueError that
names file, material and key.
"""

from __future__ import annotations

import math
import tomllib
from pathlib import Path
from typing import Any, Final

import numpy as np

from snapsim.constants import MU_0
from snapsim.parts.materials.record import MagnetisationCurve, Material

FOLDER: Final = Path(__file__).parent

UNITS: Final = {
    "density": "kg/m^3",
    "susceptibility": "1",
    "saturation": "T",
    "remanence": "T",
    "recoil_permeability": "1",
    "coercivity": "A/m",
    "youngs_modulus": "Pa",
    "poissons_ratio": "1",
    "strength": "Pa",
    "tensile_strength": "Pa",
    "hardness": "Pa",
    "weibull_modulus": "1",
    "weibull_strength": "Pa",
    "conductivity": "S/m",
}
"""Values that an entry may give, and their units."""

CURVE_UNITS: Final = ["A/m", "T"]
GIVES: Final = ("flux density", "polarisation")
OF_CURVE: Final = ("susceptibility", "saturation")


def read_family(path: Path) -> tuple[int, tuple[Material, ...]]:
    """Return a family's place among the others and its materials; raises ValueError."""
    document = tomllib.loads(path.read_text(encoding="utf-8"))
    _only(document, ("place", "common", "material"), path.name)
    place = document.get("place")
    if not isinstance(place, int):
        raise ValueError(f"{path.name}: place: is {place!r}; a whole number is needed")
    common = document.get("common", {})
    entries = document.get("material", [])
    return place, tuple(
        _material({**entry, **_rest(common, entry)}, path.name) for entry in entries
    )


def _rest(common: dict[str, Any], entry: dict[str, Any]) -> dict[str, Any]:
    """What an entry leaves to what its family has in common."""
    return {key: value for key, value in common.items() if key not in entry}


def _material(entry: dict[str, Any], file: str) -> Material:
    where = f"{file}: {entry.get('name', 'a material without a name')}"
    _only(entry, ("name", "family", "curve", *UNITS), where)
    for key in ("name", "family", "density"):
        if key not in entry:
            raise ValueError(f"{where}: {key}: is missing")
    given = {key: _value(entry[key], key, where) for key in UNITS if key in entry}
    curve = _curve(entry.get("curve"), given, where)
    keys = sorted((k for k in entry if k not in ("name", "family")), key=lambda k: k != "curve")
    source = {key: _source(entry[key], f"{where}: {key}") for key in keys}
    for key in OF_CURVE:
        given.pop(key, None)
    return Material(name=entry["name"], family=entry["family"], curve=curve, source=source, **given)


def _value(table: dict[str, Any], key: str, where: str) -> float:
    """The number of one value, its unit checked."""
    where = f"{where}: {key}"
    _only(table, ("value", "unit", "source"), where)
    if table.get("unit") != UNITS[key]:
        raise ValueError(f"{where}: unit is {table.get('unit')!r}; it must be {UNITS[key]!r}")
    value = table.get("value")
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        raise ValueError(f"{where}: value is {value!r}; a finite number is needed")
    return float(value)


def _source(table: dict[str, Any], where: str) -> str:
    source = table.get("source")
    if not isinstance(source, str) or not source.strip():
        raise ValueError(f'{where}: has no source; say where it is from, or "from memory"')
    return source


def _curve(
    table: dict[str, Any] | None, given: dict[str, float], where: str
) -> MagnetisationCurve | None:
    """The tabulated curve, or the one of a susceptibility, or none."""
    if table is None:
        if not any(key in given for key in OF_CURVE):
            return None
        if "susceptibility" not in given:
            raise ValueError(f"{where}: saturation: needs a susceptibility beside it")
        return MagnetisationCurve(given["susceptibility"], given.get("saturation"))
    where = f"{where}: curve"
    _only(table, ("source", "gives", "units", "rows"), where)
    if table.get("units") != CURVE_UNITS or table.get("gives") not in GIVES:
        raise ValueError(f"{where}: needs units = {CURVE_UNITS} and gives = one of {GIVES}")
    if any(key in given for key in OF_CURVE):
        raise ValueError(f"{where}: stands beside a susceptibility or saturation; give one")
    rows = np.array(table.get("rows", []), dtype=np.float64).reshape(-1, 2)
    field_strength, second = (column.copy() for column in rows.T)
    if table["gives"] == "polarisation":
        second = MU_0 * field_strength + second
    if len(rows) < 2 or rows[0].any() or np.any(np.diff([field_strength, second]) <= 0):
        raise ValueError(f"{where}: rows must rise from [0, 0] in field strength and flux density")
    return MagnetisationCurve(field_strength=field_strength, flux_density=second)


def _only(table: dict[str, Any], allowed: tuple[str, ...], where: str) -> None:
    for key in table:
        if key not in allowed:
            raise ValueError(f"{where}: {key}: is unknown; allowed are {', '.join(allowed)}")


def read_families(folder: Path = FOLDER) -> dict[str, Material]:
    """Return the materials of every file in a folder by name, families in the order of their
    places; raises ValueError."""
    found: dict[str, Material] = {}
    for _, family in sorted(map(read_family, folder.glob("*.toml")), key=lambda one: one[0]):
        for material in family:
            if material.name in found:
                raise ValueError(f"{material.name}: stands in two entries")
            found[material.name] = material
    return found


MATERIALS: Final = read_families()
"""Every built-in material by name, in the order a reader looks for it."""
