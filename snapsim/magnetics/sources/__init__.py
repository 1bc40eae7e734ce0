"""Fields of uniformly magnetised bodies and their gradients: one contract, one file each."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from snapsim.arrays import Array
from snapsim.magnetics.sources import box, cylinder, hex_nut, ring, sphere
from snapsim.magnetics.sources.contract import FieldSource
from snapsim.magnetics.sources.evaluation import BOX, CYLINDER, HEX_NUT, RING, SPHERE
from snapsim.magnetics.sources.superposition import MagnetSet, field_of_magnets, magnet_set
from snapsim.parts.shapes import Shape

MEMBERS: dict[str, tuple[int, Callable[[Any], Array]]] = {
    "box": (BOX, box.parameters),
    "cylinder": (CYLINDER, cylinder.parameters),
    "ring": (RING, ring.parameters),
    "sphere": (SPHERE, sphere.parameters),
    "hex_nut": (HEX_NUT, hex_nut.parameters),
}
"""Kernel code and packing function by shape kind."""


def source_for(shape: Shape) -> FieldSource:
    """Return the field source of `shape`; raises KeyError for a kind that has none."""
    code, parameters = MEMBERS[shape.kind]
    return FieldSource(code, parameters(shape))


__all__ = [
    "MEMBERS",
    "FieldSource",
    "MagnetSet",
    "field_of_magnets",
    "magnet_set",
    "source_for",
]
