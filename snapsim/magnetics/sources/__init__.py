"""Fields of uniformly magnetised bodies and their gradients: one contract, one file each."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from snapsim.arrays import Array
from snapsim.magnetics.charged_polygon_field import polyhedron_parameters
from snapsim.magnetics.sources import box, coil, cylinder, hex_nut, mesh, prism, ring, sphere
from snapsim.magnetics.sources.compound import joined
from snapsim.magnetics.sources.contract import FieldSource
from snapsim.magnetics.sources.evaluation import (
    BOX,
    COIL,
    COMPOUND,
    CYLINDER,
    HEX_NUT,
    POLYHEDRON,
    RING,
    SPHERE,
)
from snapsim.magnetics.sources.superposition import MagnetSet, field_of_magnets, magnet_set
from snapsim.parts.bodies import Body
from snapsim.parts.shapes import Shape, as_drawn

MEMBERS: dict[str, tuple[int, Callable[[Any], Array]]] = {
    "box": (BOX, box.parameters),
    "cylinder": (CYLINDER, cylinder.parameters),
    "ring": (RING, ring.parameters),
    "sphere": (SPHERE, sphere.parameters),
    "hex_nut": (HEX_NUT, hex_nut.parameters),
    "prism": (POLYHEDRON, prism.parameters),
    "mesh": (POLYHEDRON, mesh.parameters),
}
"""Kernel code and packing function by kind of a simple shape; a compound is their sum."""

FACETS = 32
"""Flat faces round a full circle of a shape without a kernel of its own: each triangle costs some
0.1 microseconds a point."""


def source_for(shape: Shape) -> FieldSource:
    """Return the field source of `shape`: of its members, its own, or else its drawn surface's."""
    if shape.members:
        sources = [source_for(m.shape) for m in shape.members]
        return FieldSource(COMPOUND, joined(shape.members, sources))
    if shape.kind in MEMBERS:
        code, parameters = MEMBERS[shape.kind]
        return FieldSource(code, parameters(shape))
    corners, triangles = as_drawn(shape, FACETS)
    return FieldSource(POLYHEDRON, polyhedron_parameters(list(corners[triangles])))


def source_of(body: Body) -> FieldSource:
    """Return the field source of a magnet or of a coil; what multiplies it is their M."""
    if body.winding is not None:
        return FieldSource(COIL, coil.parameters(body.winding))
    return source_for(body.shape)


__all__ = [
    "MEMBERS",
    "FieldSource",
    "MagnetSet",
    "field_of_magnets",
    "magnet_set",
    "source_for",
    "source_of",
]
