"""Gaps, contact points and normals between the shapes."""

from snapsim.mechanics.contact.geometry import ContactGeometry, ContactSet, separation_rate

__all__ = ["ContactGeometry", "ContactSet", "separation_rate"]
