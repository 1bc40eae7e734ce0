"""Independent geometry for the contact tests: supports, distances and samples in plain numpy.

Nothing here uses snapsim.mechanics; shapes are described by their own dimensions again.
"""

from __future__ import annotations

import numpy as np

from snapsim.mechanics.contact import ContactGeometry
from snapsim.numerics import rotations
from snapsim.parts.bodies import Body
from snapsim.parts.materials import Material
from snapsim.parts.shapes import Box, Cylinder, HexNut, Ring, Sphere
from snapsim.parts.states import Pose
from snapsim.parts.surfaces import SurfacePair, SurfaceRules

STUFF = Material("test stuff", 1000.0)
SHAPES = (
    Box((0.12, 0.08, 0.04)),
    Box((0.01, 0.2, 0.003)),
    Cylinder(0.05, 0.03),
    Cylinder(0.008, 0.15),
    Ring(0.11, 0.026, 0.018),
    Sphere(0.02),
    HexNut(0.03, 0.016, 0.014),
)


def bodies(*shapes, fixed=-1):
    last = len(shapes) + fixed
    return [Body(str(i), s, STUFF, None, i == last) for i, s in enumerate(shapes)]


def geometry(*shapes, air_gap=0.0):
    return ContactGeometry(bodies(*shapes), SurfaceRules(SurfacePair(air_gap=air_gap)))


def pose(*places):
    """Pose from positions, or pairs (position, quaternion)."""
    both = [p if isinstance(p, tuple) and len(p) == 2 else (p, rotations.IDENTITY) for p in places]
    return Pose(np.array([p for p, _ in both], float), np.array([q for _, q in both], float))


def turn(axis, degrees):
    return rotations.from_axis_angle(axis, np.radians(degrees))


def random_quaternion(rng):
    return rotations.normalise(rng.normal(size=4))


def profile(shape):
    """(half length, round radius or None, corners or None, bore radius) of an extruded shape."""
    if isinstance(shape, Box):
        a, b, h = (s / 2 for s in shape.size)
        return h, None, np.array([[a, b], [-a, b], [-a, -b], [a, -b]]), 0.0
    if isinstance(shape, Cylinder):
        return shape.length / 2, shape.diameter / 2, None, 0.0
    if isinstance(shape, Ring):
        return shape.length / 2, shape.outer_diameter / 2, None, shape.inner_diameter / 2
    angle = np.radians(60.0 * np.arange(6))
    corners = shape.across_flats / np.sqrt(3) * np.column_stack([np.cos(angle), np.sin(angle)])
    return shape.length / 2, None, corners, shape.bore / 2


def hull_support(shape, n):
    """Largest p . n over the convex hull, body axes."""
    if isinstance(shape, Sphere):
        return shape.diameter / 2 * np.linalg.norm(n)
    h, radius, corners, _ = profile(shape)
    flat = radius * np.hypot(n[0], n[1]) if radius else (corners @ n[:2]).max()
    return h * abs(n[2]) + flat


def outside_distance(shape, x):
    """Distance (k,) of points (k, 3) in body axes, 0 inside."""
    if isinstance(shape, Sphere):
        return np.maximum(np.linalg.norm(x, axis=1) - shape.diameter / 2, 0)
    h, radius, corners, bore = profile(shape)
    r = np.hypot(x[:, 0], x[:, 1])
    flat = np.maximum(r - radius, 0) if radius else _polygon_distance(corners, x[:, :2])
    if bore:
        flat = np.maximum(flat, bore - r)
    return np.hypot(flat, np.maximum(np.abs(x[:, 2]) - h, 0))


def _polygon_distance(corners, q):
    nearest, inside = np.full(len(q), np.inf), np.ones(len(q), bool)
    for p0, p1 in zip(corners, np.roll(corners, -1, axis=0), strict=True):
        e = p1 - p0
        t = np.clip((q - p0) @ e / (e @ e), 0, 1)
        nearest = np.minimum(nearest, np.linalg.norm(q - p0 - t[:, None] * e, axis=1))
        inside &= e[0] * (q[:, 1] - p0[1]) - e[1] * (q[:, 0] - p0[0]) >= 0
    return np.where(inside, 0, nearest)


def surface_samples(shape, rng, n):
    """Points (k, 3) of the solid's walls, rims, edges and end faces."""
    if isinstance(shape, Sphere):
        v = rng.normal(size=(n, 3))
        return v / np.linalg.norm(v, axis=1)[:, None] * shape.diameter / 2
    h, radius, corners, bore = profile(shape)
    z = rng.uniform(-h, h, n)
    z[: n // 3] = np.sign(z[: n // 3]) * h
    angle = rng.uniform(0, 2 * np.pi, n)
    circle = np.column_stack([np.cos(angle), np.sin(angle)])
    if radius:
        wall = radius * circle
    else:
        u, k = rng.random(n), rng.integers(0, len(corners), n)
        u[n // 3 : 2 * n // 3] = np.round(u[n // 3 : 2 * n // 3])
        wall = corners[k] + u[:, None] * (np.roll(corners, -1, axis=0) - corners)[k]
    end = wall * np.sqrt(rng.random(n))[:, None]
    end = end[np.hypot(end[:, 0], end[:, 1]) >= bore]
    ends = np.column_stack([end, np.where(rng.random(len(end)) < 0.5, h, -h)])
    parts = [np.column_stack([wall, z]), ends]
    if bore:
        parts.append(np.column_stack([bore * circle, z]))
    return np.concatenate(parts)
