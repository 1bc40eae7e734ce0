"""The scene with everything filled in, as TOML: what a run file keeps.

Every default, every material in use with all its values, every turn as one quaternion, in SI
units, digit for digit: read again it gives the very same system, also with a later version's
table of materials.
"""

from __future__ import annotations

from typing import Any

from snapsim.parts.materials import Material
from snapsim.scenario import toml_text
from snapsim.scenario.body import BodyDescription
from snapsim.scenario.build import scene_materials
from snapsim.scenario.contact import FROM_MATERIALS
from snapsim.scenario.material import MaterialDescription
from snapsim.scenario.rotation import quaternion_of
from snapsim.scenario.scene import SceneDescription


def resolved_text(scene: SceneDescription) -> str:
    """Return the filled-in scene as TOML text."""
    document = scene.model_dump(exclude_none=True)
    document["body"] = [_filled(_resolved(b).model_dump(exclude_none=True)) for b in scene.body]
    used = scene_materials(scene).values()
    document["material"] = [describe(m).model_dump(exclude_none=True) for m in used]
    contact = document["contact"]
    keys = ("restitution", "friction", "air_gap", "yield_speed")
    contact["pair"] = [
        {
            "between": p["between"],
            **{k: p.get(k, contact.get(k)) for k in keys if k in p or k in contact},
        }
        for p in contact["pair"]
    ]
    for p in contact["pair"]:
        if p["restitution"] == FROM_MATERIALS:
            p.pop("yield_speed", None)
    document["contact"] = _filled(contact)
    return toml_text.write(_filled(document))


def _resolved(body: BodyDescription) -> BodyDescription:
    """The body with its turn as one quaternion, its shape as a run file keeps it."""
    turn = quaternion_of(body.rotation, body.quaternion)
    update = {"rotation": (), "quaternion": turn, "shape": body.shape.resolved()}
    return body.model_copy(update=update)


def _filled(table: dict[str, Any]) -> dict[str, Any]:
    """The table without its empty lists."""
    return {k: v for k, v in table.items() if not (isinstance(v, list | tuple) and not v)}


def describe(material: Material) -> MaterialDescription:
    """Return a material record as a scene would write it."""
    curve, table = material.curve, None
    if curve is not None and curve.tabulated:
        table = tuple(zip(curve.field_strength.tolist(), curve.flux_density.tolist(), strict=True))
    return MaterialDescription.model_construct(
        name=material.name,
        density=material.density,
        susceptibility=curve.susceptibility if curve else None,
        saturation=curve.saturation if curve else None,
        curve=table,
        remanence=material.remanence,
        recoil_permeability=material.recoil_permeability,
        coercivity=material.coercivity,
        youngs_modulus=material.youngs_modulus,
        poissons_ratio=material.poissons_ratio,
        strength=material.strength,
        tensile_strength=material.tensile_strength,
        hardness=material.hardness,
        weibull_modulus=material.weibull_modulus,
        weibull_strength=material.weibull_strength,
        conductivity=material.conductivity,
        family=material.family,
        source=dict(material.source),
    )
