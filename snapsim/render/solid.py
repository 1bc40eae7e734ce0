"""What a body looks like without light or letters: coloured surfaces for other tools to draw."""

from __future__ import annotations

from dataclasses import dataclass

import pyvista as pv

from snapsim.parts.bodies import Body
from snapsim.render import palette, poles

FINENESS = 96


@dataclass(frozen=True)
class DrawnSurface:
    """A closed surface or a magnet's half, in body axes [m], with normals; `colour` "#RRGGBB"."""

    mesh: pv.PolyData
    colour: str
    opacity: float
    metallic: bool


def surfaces(body: Body) -> list[DrawnSurface]:
    """Return what a body is drawn as: one surface, or a magnet's north half, then its south."""
    corners, triangles = body.shape.surface(FINENESS)
    if body.is_magnet and body.magnetised is not None:
        north, south = poles.halves(corners, triangles, body.magnetised)
        return [
            DrawnSurface(north, palette.NORTH, 1.0, True),
            DrawnSurface(south, palette.SOUTH, 1.0, True),
        ]
    look = palette.look_of(body.material)
    mesh = poles.shaded(poles.poly(corners, triangles))
    return [DrawnSurface(mesh, look.colour, look.opacity, body.is_soft)]
