"""With what two bodies meet in a blow: a round side, an edge, a corner or a face.

From each body's outward normal at the contact, in its own axes (for the run says how it lies), the
effective radius of the rounded place and, beside it, what the edge or corner sinks in with:

    rim of a disc of radius Q, its axis at the angle t to the normal:  R = sqrt(r Q / sin t),
        A(w) = (cot t + tan t) (4/3) sqrt(2 Q / sin t) w^(3/2)
    straight edge of length L, face at the angle t:  R = sqrt(r L / 2),
        A(w) = 2 sqrt(2 r w) L + (cot t + tan t) L w
    corner of a box, direction cosines c of the normal:  R = r,  A(w) = w^2 / (2 c_1 c_2 c_3)

r [m] is the rounding of the edge: the body's own `edge_radius`, else assumed. The rounding alone is
less than what is pressed, rounding and sharp wedge together are more. A shape of which this is not
known has the radii between a rounded edge and its own half size.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from math import cos, inf, radians, sin, sqrt, tan
from typing import Final

import numpy as np

from snapsim.arrays import Array
from snapsim.mechanics.elastic_plastic import NO_WEDGE, Wedge
from snapsim.parts.bodies import Body
from snapsim.parts.shapes import Box, Cylinder, Revolution, Ring

EDGE_RADII: Final = (0.2e-3, 1.0e-3)
"""Rounding assumed for an edge or corner of a machined part [m] (common practice, no source)."""

GIVEN_WITHIN: Final = 0.2
"""Share by which an edge radius that is given may be off."""

FLAT: Final = radians(0.5)
"""Tilt [rad] below which a face counts as landing with its face."""


class Feature(StrEnum):
    """What meets."""

    ROUND = "round"
    EDGE = "edge"
    LINE = "line"
    """A round side along a line."""
    CORNER = "corner"
    FACE = "face"
    UNKNOWN = "unknown"


@dataclass(frozen=True)
class Meeting:
    """What a body meets a flat with: `feature`, the effective radii [m] that it has at least and at
    most, and what sinks in beside the blunter one."""

    feature: Feature
    radii: tuple[float, float]
    wedge: Wedge = NO_WEDGE


def meeting(body: Body, normal: Array | None) -> Meeting:
    """Return what `body` meets a flat with whose face it touches along its outward `normal` (3,),
    in its own axes; None where that is not known."""
    size = float(max(body.shape.extents))
    if body.shape.revolution is Revolution.CENTRE:
        return Meeting(Feature.ROUND, (size, size))
    edge = edge_radii(body)
    if normal is not None and isinstance(body.shape, Cylinder | Ring):
        return _rim(body, normal, edge)
    if normal is not None and isinstance(body.shape, Box):
        return _box(body, normal, edge)
    return Meeting(Feature.UNKNOWN, (min(sqrt(edge[0] * size), size), size))


def edge_radii(body: Body) -> tuple[float, float]:
    """Return the least and the most rounding of its edges [m]."""
    if body.edge_radius is None:
        return EDGE_RADII
    return body.edge_radius * (1.0 - GIVEN_WITHIN), body.edge_radius * (1.0 + GIVEN_WITHIN)


def _rim(body: Body, normal: Array, edge: tuple[float, float]) -> Meeting:
    across, half = float(body.shape.extents[0]), float(body.shape.extents[2])
    tilt = float(np.arccos(min(1.0, abs(float(normal[2])))))
    if tilt < FLAT:
        return Meeting(Feature.FACE, (inf, inf))
    if tilt > 0.5 * np.pi - FLAT:  # on its side, along a line
        radius = sqrt(across * half)
        line = Wedge(((4 * sqrt(2 * across) * half, 0.5),), (2.0 * half, 0.0))
        return Meeting(Feature.LINE, (radius, radius), line)
    along = across / sin(tilt)
    opened = 1.0 / tan(tilt) + tan(tilt)
    length = 2.0 * sqrt(2.0 * along), 0.5
    wedge = Wedge(((opened * 4.0 / 3.0 * sqrt(2.0 * along), 1.5),), length)
    low, high = (sqrt(r * along) for r in edge)
    return Meeting(Feature.EDGE, (low, high), wedge)


def _box(body: Body, normal: Array, edge: tuple[float, float]) -> Meeting:
    cosines = np.abs(normal)
    order = np.argsort(-cosines)
    first, second, third = (float(c) for c in cosines[order])
    if first > cos(FLAT):
        return Meeting(Feature.FACE, (inf, inf))
    if third > sin(FLAT):
        return Meeting(Feature.CORNER, edge, Wedge(((1.0 / (2.0 * first * second * third), 2.0),)))
    length = 2.0 * float(body.shape.extents[order[2]])
    opened = first / second + second / first
    wedge = Wedge(
        ((2.0 * sqrt(2.0 * edge[1]) * length, 0.5), (opened * length, 1.0)), (length, 0.0)
    )
    low, high = (sqrt(0.5 * r * length) for r in edge)
    return Meeting(Feature.EDGE, (low, high), wedge)
