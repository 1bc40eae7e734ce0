"""Uniformly magnetised prism: plane charged faces (module `charged_polygon_field`).

The outline may have re-entrant corners. Exact everywhere; digits are lost as (distance/size)^2 far
away.
"""

from __future__ import annotations

from snapsim.arrays import Array
from snapsim.magnetics.charged_polygon_field import polyhedron_parameters
from snapsim.magnetics.sources.hex_nut import prism as faces
from snapsim.parts.shapes import Prism


def parameters(shape: Prism) -> Array:
    """Return the packed faces and edges."""
    return polyhedron_parameters(faces(shape.polygon, shape.length / 2))
