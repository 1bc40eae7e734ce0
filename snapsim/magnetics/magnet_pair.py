"""Force and torque of magnets upon a magnet, by volume quadrature on the latter.

    F = mu0 integral of (grad H)^T M dV,    E = -mu0 integral of M.H dV,
    T = mu0 integral of [(x - c) x (grad H)^T M + M x H] dV,

M (3,) [A/m] the uniform magnetisation of the body acted on, H [A/m] and grad H [A/m^2] the field of
the others at its quadrature points, c its centre [m]; F [N], T [N m] about c, E [J]. With one fixed
set of points F and T are exact derivatives of E. Source: Jackson, Classical Electrodynamics, 3rd
ed., eqs. (5.69)-(5.72) (from memory). Quadrature: Gauss-Legendre along straight directions, radii
and the sectors of a hexagon, equal steps round a circle. Points crowded further towards the faces
were tried: they help equal coaxial magnets in contact and harm every other pose, where the edge of
one magnet lies across the face of the other. Relative force error at 16 points (default), by gap
over the size of the body acted on, equal coaxial magnets | offset ones:
10 % 1e-6 | 3e-4, 5 % 3e-5 | 8e-4, 1 % 1e-4 | 2e-2, contact 3e-3 | 1e-2 or worse: so magnets closer
than the smaller one's size act by the charge on its faces instead (`face_force`), where the error
here is below 1e-7.
Valid while the bodies do not overlap.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from functools import cache
from typing import Any

import numpy as np

from snapsim.arrays import Array
from snapsim.constants import MU_0
from snapsim.parts.shapes import Box, ConvexPolyhedron, Piece, Prism, Shape, Sphere, pieces_of
from snapsim.parts.windings import Winding

DEFAULT_ORDER = 16
FEWEST = 4
COIL_ORDER = 12
SHEETS = 5
"""Gauss points across a winding."""


def quadrature(shape: Shape, order: int = DEFAULT_ORDER) -> tuple[Array, Array]:
    """Return points (k, 3) [m] in body axes and weights (k,) [m^3] adding up to the volume.

    `order` is the number of points across the largest extent; a shorter straight direction has
    that number times the root of the ratio, a radius its half and one, a circle the double. The
    pieces of a composite shape have fewer points, by the root of their size over the whole's.
    """
    parts = pieces_of(shape)
    if parts[0].shape is not shape:
        points, weights = _union(shape, parts, order)
    else:
        general = _cones if shape.outline is None else _extrusion
        points, weights = RULES.get(type(shape), general)(shape, order)
    return points, weights * (shape.volume / weights.sum())


def coil_quadrature(winding: Winding) -> tuple[Array, Array]:
    """Return points (k, 3) [m] in body axes and weights (k,) [m^3], the share of M = N I/L that a
    place has: all of it within the inner outline, falling evenly to nothing at the outer one."""
    (a, b), w, h = winding.inner, winding.width, winding.half_length
    depth, share = _gauss(0.0, w, SHEETS)
    if not winding.is_round:
        sheets = [_box(Box((2 * (a + t), 2 * (b + t), 2 * h)), COIL_ORDER) for t in depth]
        weights = [ws * s / w for (_, ws), s in zip(sheets, share, strict=True)]
        return np.concatenate([points for points, _ in sheets]), np.concatenate(weights)
    inner, w_inner = _gauss(0.0, a, max(FEWEST, math.ceil(COIL_ORDER * a / (2 * (a + w))) + 1))
    r = np.concatenate([inner, a + depth])
    wr = np.concatenate([w_inner * inner, share * (a + depth) * (1 - depth / w)])
    turn, wt = _circle(2 * COIL_ORDER)
    z, wz = _gauss(-h, h, _count(COIL_ORDER, 2 * h, max(2 * h, 2 * (a + w))))
    flat = np.stack([np.outer(r, np.cos(turn)), np.outer(r, np.sin(turn))], axis=-1).reshape(-1, 2)
    points = np.column_stack([np.tile(flat, (len(z), 1)), np.repeat(z, len(flat))])
    return points, np.outer(wz, np.outer(wr, wt).ravel()).ravel()


def _gauss(low: float, high: float, order: int) -> tuple[Array, Array]:
    """Gauss-Legendre points and weights (order,) on [low, high]."""
    u, w = _legendre(order)
    half = (high - low) / 2
    return (low + high) / 2 + half * u, half * w


@cache
def _legendre(order: int) -> tuple[Array, Array]:
    """Gauss-Legendre points and weights (order,) on [-1, 1]."""
    return np.polynomial.legendre.leggauss(order)


def _count(order: int, length: float, largest: float) -> int:
    """Points along a straight direction of that length [m]."""
    return max(FEWEST, math.ceil(order * math.sqrt(length / largest)))


def _box(shape: Box, order: int) -> tuple[Array, Array]:
    """Gauss along each edge."""
    largest = max(shape.size)
    axes = [_gauss(-s / 2, s / 2, _count(order, s, largest)) for s in shape.size]
    grid = np.meshgrid(*(x for x, _ in axes), indexing="ij")
    wx, wy, wz = (w for _, w in axes)
    weights = wx[:, None, None] * wy[None, :, None] * wz[None, None, :]
    return np.stack(grid, axis=-1).reshape(-1, 3), weights.ravel()


def _ball(shape: Sphere, order: int) -> tuple[Array, Array]:
    """Gauss in r and in the cosine of the polar angle, equal steps in azimuth."""
    r, wr = _gauss(0, shape.diameter / 2, order // 2 + 1)
    mu, wmu = _legendre(order)
    turn, wt = _circle(2 * order)
    sine = np.sqrt(1 - mu**2)
    x, y = np.outer(sine, np.cos(turn)), np.outer(sine, np.sin(turn))
    direction = np.stack([x, y, np.outer(mu, np.ones_like(turn))], axis=-1).reshape(-1, 3)
    points = r[:, None, None] * direction[None]
    return points.reshape(-1, 3), np.outer(wr * r**2, np.outer(wmu, wt)).ravel()


def _union(shape: Shape, parts: tuple[Piece, ...], order: int) -> tuple[Array, Array]:
    """The rules of the pieces, each in its place."""
    largest = float(shape.extents.max())
    points, weights = [], []
    for part in parts:
        share = math.sqrt(min(1.0, float(part.shape.extents.max()) / largest))
        own, w = quadrature(part.shape, max(FEWEST, math.ceil(order * share)))
        points.append(own @ part.turn.T + part.position)
        weights.append(w)
    return np.concatenate(points), np.concatenate(weights)


def _prism(shape: Prism, order: int) -> tuple[Array, Array]:
    """Gauss in the triangles between the centroid and each side, times Gauss along z."""
    box = shape.simplest
    if isinstance(box, Box):
        return _box(box, order)
    largest = 2 * float(shape.extents.max())
    flat, area = [], []
    for a, b in zip(shape.polygon, np.roll(shape.polygon, -1, axis=0), strict=True):
        out, w_out = _gauss(0, 1, _count(order, float(max(np.hypot(*a), np.hypot(*b))), largest))
        side, w_side = _gauss(0, 1, _count(order, float(np.hypot(*(b - a))), largest))
        edge = (1 - side[:, None]) * a + side[:, None] * b
        flat.append((out[:, None, None] * edge[None]).reshape(-1, 2))
        area.append(np.outer(w_out * out, w_side).ravel() * (a[0] * b[1] - a[1] * b[0]))
    z, wz = _gauss(-shape.length / 2, shape.length / 2, _count(order, shape.length, largest))
    plane = np.concatenate(flat)
    points = np.column_stack([np.tile(plane, (len(z), 1)), np.repeat(z, len(plane))])
    return points, np.outer(wz, np.concatenate(area)).ravel()


def _cones(shape: Shape, order: int) -> tuple[Array, Array]:
    """Gauss in the tetrahedra between the centre and each triangle, collapsed from a cube."""
    corners, triangles = shape.surface(2 * order)
    count = max(1, math.ceil(1.1 * order / len(triangles) ** (1 / 3)))
    u, w = _gauss(0, 1, count)
    r, s, t = (g.ravel() for g in np.meshgrid(u, u, u, indexing="ij"))
    weight = (w[:, None, None] * w[None, :, None] * w).ravel() * r**2 * s
    share = np.stack([r * (1 - s), r * s * (1 - t), r * s * t], axis=1)
    p = corners[triangles]
    volume = np.einsum("fi,fi->f", p[:, 0], np.cross(p[:, 1], p[:, 2]))
    return np.einsum("qk,fki->fqi", share, p).reshape(-1, 3), np.outer(volume, weight).ravel()


def _extrusion(shape: Shape, order: int) -> tuple[Array, Array]:
    """Profile in polar coordinates between the bore and the outer edge, times Gauss along z."""
    outline = shape.outline
    assert outline is not None
    if outline.polygon.size:
        turn, wt, edge = _sectors(outline.polygon, max(FEWEST, math.ceil(order / 2)))
    else:
        turn, wt = _circle(2 * order)
        edge = np.full(len(turn), outline.radius)
    largest = 2 * float(shape.extents.max())
    span = edge - outline.bore_radius
    u, wu = _gauss(0, 1, max(FEWEST, math.ceil(order * float(span.max()) / largest) + 1))
    r = outline.bore_radius + u[:, None] * span[None]
    flat = np.stack([r * np.cos(turn), r * np.sin(turn)], axis=-1).reshape(-1, 2)
    area = (wu[:, None] * wt * span * r).ravel()
    h = outline.half_length
    z, wz = _gauss(-h, h, _count(order, 2 * h, largest))
    points = np.column_stack([np.tile(flat, (len(z), 1)), np.repeat(z, len(flat))])
    return points, np.outer(wz, area).ravel()


RULES: dict[type, Callable[[Any, int], tuple[Array, Array]]] = {
    Box: _box,
    Prism: _prism,
    Sphere: _ball,
    ConvexPolyhedron: _cones,
}
"""Rules of solids that are no plain extrusion, or better served; pieces are added up."""


def _circle(count: int) -> tuple[Array, Array]:
    """Equal steps round a circle, symmetric about both axes: angles and weights [rad]."""
    return 2 * np.pi * (np.arange(count) + 0.5) / count, np.full(count, 2 * np.pi / count)


def _sectors(polygon: Array, count: int) -> tuple[Array, Array, Array]:
    """Gauss angles in the sector of each side, their weights [rad], and the side's distance [m]."""
    angles, weights, edges = [], [], []
    for a, b in zip(polygon, np.roll(polygon, -1, axis=0), strict=True):
        start = math.atan2(a[1], a[0])
        width = math.atan2(a[0] * b[1] - a[1] * b[0], a @ b)
        turn, w = _gauss(start, start + width, count)
        normal = np.array([b[1] - a[1], a[0] - b[0]])
        distance = (a @ normal) / (np.cos(turn) * normal[0] + np.sin(turn) * normal[1])
        angles.append(turn)
        weights.append(w)
        edges.append(distance)
    return np.concatenate(angles), np.concatenate(weights), np.concatenate(edges)


def load_on_magnet(
    h: Array, g: Array, arms: Array, weights: Array, magnetisation: Array
) -> tuple[Array, Array, float]:
    """Return force (3,) [N], torque about the centre (3,) [N m] and energy [J] in external field.

    `h` (k, 3), `g` (k, 3, 3) at the quadrature points, `arms` (k, 3) from the body's centre,
    `weights` (k,) [m^3], `magnetisation` (3,); all in the same (world) axes.
    """
    density = MU_0 * weights[:, None] * np.einsum("kil,i->kl", g, magnetisation)
    mean = weights @ h
    torque = np.cross(arms, density).sum(axis=0) + MU_0 * np.cross(magnetisation, mean)
    return density.sum(axis=0), torque, -MU_0 * float(magnetisation @ mean)
