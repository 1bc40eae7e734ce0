"""Gaps, contact points and normals between the shapes."""

from snapsim.mechanics.contact.geometry import (
    ContactGeometry,
    ContactSet,
    gap_between,
    separation_rate,
)

__all__ = ["ContactGeometry", "ContactSet", "gap_between", "separation_rate"]
