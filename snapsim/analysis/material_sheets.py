"""Materials for a reader: each value with its unit and its source."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from rich.console import Group, RenderableType
from rich.markup import escape
from rich.table import Table
from rich.text import Text

from snapsim.constants import MU_0
from snapsim.parts.materials import Material

_COLUMNS = {
    "density_kg_m3": ("density", "density", "kg/m^3", 1.0),
    "remanence_T": ("remanence", "remanence", "T", 1.0),
    "coercivity_A_m": ("coercivity", "coercivity H_cJ", "kA/m", 1e-3),
    "recoil_permeability": ("recoil_permeability", "recoil permeability", "", 1.0),
    "youngs_modulus_Pa": ("youngs_modulus", "Young's modulus", "GPa", 1e-9),
    "poissons_ratio": ("poissons_ratio", "Poisson's ratio", "", 1.0),
    "strength_Pa": ("strength", "strength", "MPa", 1e-6),
    "tensile_strength_Pa": ("tensile_strength", "tensile strength", "MPa", 1e-6),
    "hardness_Pa": ("hardness", "hardness", "MPa", 1e-6),
    "weibull_modulus": ("weibull_modulus", "Weibull modulus", "", 1.0),
    "weibull_strength_Pa": ("weibull_strength", "Weibull strength, 1 cm²", "MPa", 1e-6),
    "conductivity_S_m": ("conductivity", "conductivity", "MS/m", 1e-6),
}
"""JSON key: field of the record, what to call it, unit shown, factor from SI."""


def material_summary(material: Material) -> dict[str, Any]:
    """Return everything known of a material, SI, with the source of each value."""
    curve = material.curve
    result: dict[str, Any] = {"name": material.name, "family": material.family}
    result |= {key: getattr(material, field) for key, (field, *_) in _COLUMNS.items()}
    result["magnetic"] = "magnet" if material.is_magnet else "soft" if material.is_soft else "no"
    result["curve"] = None
    if curve is not None and curve.tabulated:
        result["curve"] = {
            "field_strength_A_m": curve.field_strength.tolist(),
            "flux_density_T": curve.flux_density.tolist(),
        }
    elif curve is not None:
        result["curve"] = {
            "susceptibility": curve.susceptibility,
            "saturation_T": curve.saturation,
        }
    result["saturation_T"] = saturation(material)
    result["source"] = dict(material.source)
    return result


def saturation(material: Material) -> float | None:
    """Return the largest polarisation [T] of a soft material's curve, None without one."""
    curve = material.curve
    if curve is None:
        return None
    if curve.tabulated:
        return float((curve.flux_density - MU_0 * curve.field_strength).max())
    return curve.saturation


def materials_table(materials: Iterable[Material]) -> RenderableType:
    """Return one row a material; the sources stand in each material's own sheet."""
    table = Table("material", "magnetic")
    headings = ("remanence or\nsaturation\nT", "density\nkg/m^3", "modulus\nGPa", "strength\nMPa")
    for heading in headings:
        table.add_column(heading, justify="right")
    for m in materials:
        s = material_summary(m)
        table.add_row(
            escape(m.name),
            s["magnetic"],
            _shown(m.remanence if m.is_magnet else s["saturation_T"], 1.0),
            _shown(m.density, 1.0),
            _shown(m.youngs_modulus, 1e-9),
            _shown(m.strength, 1e-6),
        )
    return Group(table, "`snapsim materials NAME` shows one in full, each value with its source")


def material_sheet(material: Material) -> RenderableType:
    """Return one material in full, each value with its source."""
    table = Table("value", "", "source", show_lines=True)
    for field, name, unit, factor in _COLUMNS.values():
        value = getattr(material, field)
        if value is not None:
            shown = f"{_shown(value, factor)} {unit}".strip()
            table.add_row(name, shown, escape(material.source.get(field, "")))
    parts: list[RenderableType] = [Text(f"{material.name} ({material.family})", style="bold")]
    curve = material.curve
    if curve is not None and not curve.tabulated:
        for field in ("susceptibility", "saturation"):
            source = material.source.get(field, "")
            unit = " T" if field == "saturation" else ""
            table.add_row(field, f"{_shown(getattr(curve, field), 1.0)}{unit}", escape(source))
    parts.append(table)
    if curve is not None and curve.tabulated:
        parts.append(_curve_table(material))
    return Group(*parts)


def _curve_table(material: Material) -> RenderableType:
    curve = material.curve
    assert curve is not None
    title = f"Magnetisation curve: {material.source.get('curve', '')}"
    table = Table(title=escape(title), title_justify="left")
    for heading in ("H, A/m", "B, T", "J, T"):
        table.add_column(heading, justify="right")
    for h, b in zip(curve.field_strength, curve.flux_density, strict=True):
        table.add_row(f"{h:g}", f"{b:.4f}", f"{b - MU_0 * h:.4f}")
    return table


def _shown(value: float | None, factor: float) -> str:
    return "-" if value is None else f"{value * factor:.4g}"
