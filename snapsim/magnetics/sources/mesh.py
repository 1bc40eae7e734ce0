"""Uniformly magnetised triangulated solid: plane charged faces (module `charged_polygon_field`).

Exact everywhere for the triangles as given; the cost of a point grows with their number (some 0.1
microseconds each). Digits are lost as (distance/size)^2 far away.
"""

from __future__ import annotations

from snapsim.arrays import Array
from snapsim.magnetics.charged_polygon_field import polyhedron_parameters
from snapsim.parts.shapes import Mesh


def parameters(shape: Mesh) -> Array:
    """Return the packed faces and edges."""
    return polyhedron_parameters(list(shape.corners[shape.triangles]))
