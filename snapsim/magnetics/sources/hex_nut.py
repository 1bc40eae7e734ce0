"""Uniformly magnetised hexagonal nut: a hexagonal prism less a cylinder of the bore's radius.

Superposition of a body of plane charged faces (module `charged_polygon_field`) and a solid cylinder
of opposite magnetisation (module `cylinder`); H [A/m] and dH/dx [A/m^2]. Exact everywhere; digits
are lost as (distance/size)^2 far away.
"""

from __future__ import annotations

import math

import numpy as np

from snapsim.arrays import Array
from snapsim.magnetics.charged_polygon_field import polyhedron_field, polyhedron_parameters
from snapsim.magnetics.sources.cylinder import Nine, combine, solid_functions, solid_parameters
from snapsim.numerics.compilation import bare
from snapsim.parts.shapes import HexNut

BORE = 19  # radius, half length, farthest distance and 16 moments


def parameters(shape: HexNut) -> Array:
    """Return the bore's parameters (19,) followed by the packed prism."""
    outline = shape.outline
    bore = solid_parameters(outline.bore_radius, outline.half_length)
    return np.concatenate(
        [bore, polyhedron_parameters(prism(outline.polygon, outline.half_length))]
    )


def prism(polygon: Array, half_length: float) -> list[Array]:
    """Return the faces, each (k, 3) counter-clockwise from outside, of a right prism along z."""
    n, h = len(polygon), half_length
    top = np.column_stack([polygon, np.full(n, h)])
    bottom = np.column_stack([polygon, np.full(n, -h)])
    sides = [np.stack([bottom[i], bottom[(i + 1) % n], top[(i + 1) % n], top[i]]) for i in range(n)]
    return [top, bottom[::-1], *sides]


@bare
def kernel(par: Array, x: float, y: float, z: float, mx: float, my: float, mz: float) -> Nine:
    """Return (Hx, Hy, Hz, Gxx, Gyy, Gzz, Gxy, Gxz, Gyz) at one point, body axes."""
    a = polyhedron_field(par[BORE:], x, y, z, mx, my, mz)
    rho = math.sqrt(x * x + y * y)
    b = combine(x, y, rho, solid_functions(par[:BORE], rho, z), mx, my, mz)
    return (
        a[0] - b[0], a[1] - b[1], a[2] - b[2], a[3] - b[3], a[4] - b[4],
        a[5] - b[5], a[6] - b[6], a[7] - b[7], a[8] - b[8],
    )  # fmt: skip
