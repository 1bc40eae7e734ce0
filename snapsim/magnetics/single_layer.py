"""Galerkin single-layer matrix between charged polygons: the energy of charge on charge.

    P_fg = integral over f, integral over g of  dS dS' / (4 pi |x - x'|)      [m^3]

so that 1/2 mu0 sigma_f P_fg sigma_g [J] is the energy of two faces of uniform charge density sigma
[A/m]. P is symmetric and, as a Coulomb energy, positive semidefinite. One face against itself is
reduced to its rim (Gauss's theorem twice, since the plane Laplacian of r is 1/r):

    4 pi P_ff = - sum over edges e, e' of  (n_e . n_e')  integral over e, e' of |x - x'| dl dl'

and likewise two faces of one plane that touch or overlap, as unlike cells of two joined solids do.
Other near pairs: the potential of the larger polygon in closed form, integrated over the smaller
one by product Gauss rules, crowded toward the edges (u = t^2 (3 - 2t), which smooths the d ln d
behaviour at a shared edge) where the two all but touch; of two touching faces of which one stands
on the inside of the other, the standing one is the outer one whatever its size. Far pairs: product
rules on both, fewer points the farther apart. Each pair is computed once and used for both orders:
symmetry is exact. Assumptions: plane convex polygons of three or four corners. Relative error of
single entries: below 3e-8 where faces touch (6e-4 where a face stands on another across its rim,
1e-4 where two at an angle share part of an edge, which cells with common faces never do), up to
2e-6 far away (smooth in the distance, so that it cancels in the field of a cell, whose charges add
up to zero), measured in the tests.
Source: Hackbusch, Integral Equations, 1995, ch. 9 (Galerkin boundary elements; from memory).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from snapsim.arrays import Array, as_floats
from snapsim.magnetics.charged_polygon import FOUR_PI, polygon_potential
from snapsim.numerics.compilation import bare, compiled

FAR_RULES: Final = np.array([[14.0, 2], [6.5, 3], [4.3, 4]])
"""Rows (centre distance over the larger radius, points per direction): product rules on both."""

NEAR_RULES: Final = np.array([[2.6, 3], [1.2, 4], [0.7, 5], [0.45, 7], [0.3, 9]])
"""Rows (gap over the side's length, points along that side): the outer rule of near pairs."""

TOUCHING_POINTS: Final = 16
"""Points along a side of a crowded rule."""

MOST_POINTS: Final = 16

BAND: Final = 16
"""Rows filled in one compiled call, which no interrupt ends: a large body takes half a minute."""


@dataclass(frozen=True)
class Polygons:
    """f flat polygons of three or four corners: `corners` (f, 4, 3) [m], a triangle repeating its
    last one; `normal` (f, 3), unit, the corners run counter-clockwise about it; `area` (f,)
    [m^2]; `centre` (f, 3) [m], mean of the corners; `radius` (f,) [m], the farthest corner from it;
    `sides` (f, 2) [m], greatest length along the first and along the second edge direction."""

    corners: Array
    normal: Array
    area: Array
    centre: Array
    radius: Array
    sides: Array


def polygons(corners: Array) -> Polygons:
    """Return the polygons of `corners` (f, 4, 3) [m] with their normals and sizes."""
    p = as_floats(corners)
    twice = np.cross(p[:, 2] - p[:, 0], p[:, 3] - p[:, 1])
    length = np.linalg.norm(twice, axis=1)
    centre = p.mean(axis=1)
    edge = np.linalg.norm(np.roll(p, -1, axis=1) - p, axis=2)
    return Polygons(
        p,
        twice / length[:, None],
        length / 2,
        centre,
        np.linalg.norm(p - centre[:, None], axis=2).max(axis=1),
        np.column_stack([edge[:, [0, 2]].max(axis=1), edge[:, [1, 3]].max(axis=1)]),
    )


def single_layer(faces: Polygons, flips: Array) -> Array:
    """Return P (g, f, f) [m^3] between the faces and their images.

    `flips` (g, 3), entries +-1, are the reflections of the g images; entry [r, f, g] is the pair
    of face f and the image r of face g, which equals the pair of face g and the image r of face f.
    """
    nodes, weights = _gauss_tables()
    matrix = np.empty((len(flips), len(faces.area), len(faces.area)))
    far = tuple(_far_points(faces, int(n), nodes, weights) for n in FAR_RULES[:, 1])
    for r, flip in enumerate(flips):
        image = polygons(faces.corners * flip)
        for begin in range(0, len(faces.area), BAND):
            _fill(
                *(faces.corners, faces.normal, faces.centre, faces.radius, faces.sides),
                *(image.corners, image.normal, image.centre, image.sides),
                *(far[0], far[1], far[2], as_floats(flip)),
                *(FAR_RULES[:, 0].copy(), NEAR_RULES, nodes, weights),
                *(begin, min(begin + BAND, len(faces.area)), matrix[r]),
            )
        if np.all(flip > 0):
            diagonal = np.einsum("ff->f", matrix[r])
            _fill_selves(faces.corners, faces.normal, nodes, weights, diagonal)
    return matrix


def _gauss_tables() -> tuple[Array, Array]:
    """Gauss nodes and weights on (0, 1), row n holding the rule of n points."""
    nodes = np.zeros((MOST_POINTS + 1, MOST_POINTS))
    weights = np.zeros((MOST_POINTS + 1, MOST_POINTS))
    for n in range(1, MOST_POINTS + 1):
        x, w = np.polynomial.legendre.leggauss(n)
        nodes[n, :n], weights[n, :n] = (x + 1) / 2, w / 2
    return nodes, weights


def _far_points(faces: Polygons, n: int, nodes: Array, weights: Array) -> Array:
    """Product rule of n x n points a face: (f, 4, n n), rows x, y, z [m] and weight [m^2]."""
    rule = np.empty((len(faces.area), 4, n * n))
    for f in range(len(faces.area)):
        for i in range(n):
            for j in range(n):
                x, y, z, jacobian = area_element(faces.corners[f], nodes[n, i], nodes[n, j])
                rule[f, :, i * n + j] = x, y, z, jacobian * weights[n, i] * weights[n, j]
    return rule


@bare
def area_element(p: Array, u: float, v: float) -> tuple[float, float, float, float]:
    """Point and area element of the bilinear map of (u, v) in the unit square on corners (4, 3)."""
    c0, c1, c2, c3 = (1 - u) * (1 - v), u * (1 - v), u * v, (1 - u) * v
    x = c0 * p[0, 0] + c1 * p[1, 0] + c2 * p[2, 0] + c3 * p[3, 0]
    y = c0 * p[0, 1] + c1 * p[1, 1] + c2 * p[2, 1] + c3 * p[3, 1]
    z = c0 * p[0, 2] + c1 * p[1, 2] + c2 * p[2, 2] + c3 * p[3, 2]
    ax = (1 - v) * (p[1, 0] - p[0, 0]) + v * (p[2, 0] - p[3, 0])
    ay = (1 - v) * (p[1, 1] - p[0, 1]) + v * (p[2, 1] - p[3, 1])
    az = (1 - v) * (p[1, 2] - p[0, 2]) + v * (p[2, 2] - p[3, 2])
    bx = (1 - u) * (p[3, 0] - p[0, 0]) + u * (p[2, 0] - p[1, 0])
    by = (1 - u) * (p[3, 1] - p[0, 1]) + u * (p[2, 1] - p[1, 1])
    bz = (1 - u) * (p[3, 2] - p[0, 2]) + u * (p[2, 2] - p[1, 2])
    nx, ny, nz = ay * bz - az * by, az * bx - ax * bz, ax * by - ay * bx
    return x, y, z, np.sqrt(nx * nx + ny * ny + nz * nz)


@compiled
def _fill(
    corners: Array,
    normal: Array,
    centre: Array,
    radius: Array,
    sides: Array,
    image: Array,
    image_normal: Array,
    image_centre: Array,
    image_sides: Array,
    two: Array,
    three: Array,
    four: Array,
    flip: Array,
    far: Array,
    near: Array,
    nodes: Array,
    weights: Array,
    begin: int,
    end: int,
    matrix: Array,
) -> None:
    """Fill `matrix` (f, f) with the pairs of faces from `begin` to `end` and one image of those
    after each."""
    for f in range(begin, end):
        for g in range(f, len(radius)):
            dx = centre[f, 0] - image_centre[g, 0]
            dy = centre[f, 1] - image_centre[g, 1]
            dz = centre[f, 2] - image_centre[g, 2]
            apart = np.sqrt(dx * dx + dy * dy + dz * dz) / max(radius[f], radius[g])
            if apart > far[0]:
                value = _far(two[f], two[g], flip)
            elif apart > far[1]:
                value = _far(three[f], three[g], flip)
            elif apart > far[2]:
                value = _far(four[f], four[g], flip)
            elif _in_one_plane(corners[f], normal[f], image[g], 1e-9 * (radius[f] + radius[g])):
                value = rim_pair(corners[f], normal[f], image[g], image_normal[g], nodes, weights)
            elif _is_outer(corners[f], normal[f], radius[f], image[g], image_normal[g], radius[g]):
                value = near_pair(
                    corners[f], sides[f], image[g], image_normal[g], near, nodes, weights
                )
            else:
                value = near_pair(
                    image[g], image_sides[g], corners[f], normal[f], near, nodes, weights
                )
            matrix[f, g] = value
            matrix[g, f] = value


@bare
def _in_one_plane(a: Array, normal: Array, b: Array, near: float) -> bool:
    """Do two faces lie in one plane and touch or overlap, to within `near` [m]?"""
    for i in range(4):
        if abs(_height(a, normal, b[i])) > near:
            return False
    return _gap(a, b) <= near or _covers(a, normal, b[0]) or _covers(b, normal, a[0])


@bare
def _covers(a: Array, normal: Array, x: Array) -> bool:
    """Is the foot of the point x on the plane of the convex face a within it?"""
    sign = 0.0
    for i in range(4):
        ux, uy, uz = a[i, 0] - a[i - 1, 0], a[i, 1] - a[i - 1, 1], a[i, 2] - a[i - 1, 2]
        vx, vy, vz = x[0] - a[i, 0], x[1] - a[i, 1], x[2] - a[i, 2]
        turn = (uy * vz - uz * vy) * normal[0] + (uz * vx - ux * vz) * normal[1]
        turn += (ux * vy - uy * vx) * normal[2]
        if turn * sign < 0.0:
            return False
        if turn != 0.0:
            sign = turn
    return True


@bare
def _is_outer(
    a: Array, normal_a: Array, radius_a: float, b: Array, normal_b: Array, radius_b: float
) -> bool:
    """Shall a be the outer face: the smaller one, or the one that stands on the other?"""
    if radius_a < radius_b:
        return not (_cuts(b, normal_b, a) and _stands_on(b, a, normal_a))
    return _cuts(a, normal_a, b) and _stands_on(a, b, normal_b)


@bare
def _cuts(a: Array, normal: Array, b: Array) -> bool:
    """Has b corners clearly on both sides of the plane of a?"""
    low, high = 0.0, 0.0
    for i in range(4):
        height = _height(a, normal, b[i])
        low, high = min(low, height), max(high, height)
    return low < -1e-6 * (high - low) and high > 1e-6 * (high - low)


@bare
def _height(a: Array, normal: Array, x: Array) -> float:
    """Height [m] of x over the plane of a."""
    height = 0.0
    for k in range(3):
        height += (x[k] - a[0, k]) * normal[k]
    return height


@bare
def _stands_on(a: Array, b: Array, normal: Array) -> bool:
    """Does a touch b from one side of its plane, with a corner on it or with its rim?"""
    low, high = 0.0, 0.0
    for i in range(4):
        height = _height(b, normal, a[i])
        low, high = min(low, height), max(high, height)
    near = 1e-9 * (high - low)
    if min(-low, high) > near:
        return False
    for i in range(4):
        if abs(_height(b, normal, a[i])) <= near and _covers(b, normal, a[i]):
            return True
    return _gap(a, b) <= near


@bare
def _far(a: Array, b: Array, flip: Array) -> float:
    """Product rule on both faces, rows x, y, z, weight; `flip` reflects b."""
    total = 0.0
    for j in range(b.shape[1]):
        x, y, z = flip[0] * b[0, j], flip[1] * b[1, j], flip[2] * b[2, j]
        part = 0.0
        for i in range(a.shape[1]):
            dx, dy, dz = a[0, i] - x, a[1, i] - y, a[2, i] - z
            part += a[3, i] / np.sqrt(dx * dx + dy * dy + dz * dz)
        total += b[3, j] * part
    return total / FOUR_PI


@bare
def near_pair(
    outer: Array,
    sides: Array,
    inner: Array,
    inner_normal: Array,
    rules: Array,
    nodes: Array,
    weights: Array,
) -> float:
    """Return P [m^3] of two faces close together: closed form on `inner`, Gauss on `outer`."""
    gap = 0.0 if _stands_on(outer, inner, inner_normal) else _gap(outer, inner)
    n, crowd_u = _points_along(gap, sides[0], rules)
    m, crowd_v = _points_along(gap, sides[1], rules)
    total = 0.0
    for i in range(n):
        u, wu = _crowded(nodes[n, i], weights[n, i], crowd_u)
        for j in range(m):
            v, wv = _crowded(nodes[m, j], weights[m, j], crowd_v)
            x, y, z, jacobian = area_element(outer, u, v)
            total += wu * wv * jacobian * polygon_potential(inner, inner_normal, x, y, z)
    return total


@bare
def _points_along(gap: float, side: float, rules: Array) -> tuple[int, bool]:
    """Points along one side of the outer face, and whether they crowd toward its ends."""
    for k in range(len(rules)):
        if gap > rules[k, 0] * side:
            return int(rules[k, 1]), False
    return TOUCHING_POINTS, True


@bare
def _crowded(t: float, w: float, crowd: bool) -> tuple[float, float]:
    """Node and weight, moved toward the ends of (0, 1) by u = t^2 (3 - 2t) when `crowd`."""
    if crowd:
        return t * t * (3 - 2 * t), w * 6 * t * (1 - t)
    return t, w


@bare
def _gap(a: Array, b: Array) -> float:
    """Least distance [m] between the rims of two faces (4, 3)."""
    least = np.inf
    for i in range(4):
        for j in range(4):
            least = min(least, _segment_distance(a[i - 1], a[i], b[j - 1], b[j]))
    return float(np.sqrt(least))


@bare
def _segment_distance(a: Array, b: Array, c: Array, d: Array) -> float:
    """Squared distance [m^2] of the segments a-b and c-d (Ericson 2005, 5.1.9; from memory)."""
    uu = uv = vv = uw = vw = 0.0
    for k in range(3):
        u, v, w = b[k] - a[k], d[k] - c[k], a[k] - c[k]
        uu += u * u
        uv += u * v
        vv += v * v
        uw += u * w
        vw += v * w
    s = 0.0
    det = uu * vv - uv * uv
    if det > 1e-12 * uu * vv:
        s = min(1.0, max(0.0, (uv * vw - vv * uw) / det))
    t = (uv * s + vw) / vv if vv > 0.0 else 0.0
    t = min(1.0, max(0.0, t))
    if uu > 0.0:
        s = min(1.0, max(0.0, (uv * t - uw) / uu))
    square = 0.0
    for k in range(3):
        gap = a[k] - c[k] + s * (b[k] - a[k]) - t * (d[k] - c[k])
        square += gap * gap
    return square


@compiled
def _fill_selves(
    corners: Array, normal: Array, nodes: Array, weights: Array, diagonal: Array
) -> None:
    """Fill `diagonal` (f,) with the faces against themselves."""
    for f in range(len(corners)):
        diagonal[f] = self_energy(corners[f], normal[f], nodes, weights)


@compiled
def self_energy(p: Array, normal: Array, nodes: Array, weights: Array) -> float:
    """Return P_ff [m^3] of the face with corners (4, 3) by its rim against itself."""
    return rim_pair(p, normal, p, normal, nodes, weights)


@compiled
def rim_pair(
    p: Array, normal_p: Array, q: Array, normal_q: Array, nodes: Array, weights: Array
) -> float:
    """Return P [m^3] of two faces (4, 3) of one plane, overlapping or not, by their rims."""
    n = MOST_POINTS
    total = 0.0
    for i in range(4):
        a, edge = p[i - 1], p[i] - p[i - 1]
        for j in range(4):
            across = edge @ (q[j] - q[j - 1])
            if across == 0.0:
                continue
            if np.all(p[i] == q[j]) and np.all(a == q[j - 1]):
                # both points on one edge: the mean of |s - t| over the unit square is 1/3
                total += across * np.sqrt(across) / 3
                continue
            part = 0.0
            for k in range(n):
                t, w = _crowded(nodes[n, k], weights[n, k], True)
                part += w * _mean_distance(a + t * edge, q[j - 1], q[j])
            # edges as vectors: n_e . n_e' dl dl' is their scalar product, both in one plane
            total += across * part
    same = normal_p[0] * normal_q[0] + normal_p[1] * normal_q[1] + normal_p[2] * normal_q[2]
    return -total / FOUR_PI if same > 0.0 else total / FOUR_PI


@compiled
def _mean_distance(x: Array, a: Array, b: Array) -> float:
    """Mean of |x - y| over y on the segment a-b, in closed form [m]."""
    length = np.sqrt(np.sum((b - a) ** 2))
    if length == 0.0:
        return float(np.sqrt(np.sum((a - x) ** 2)))
    direction = (b - a) / length
    near, far = (a - x) @ direction, (b - x) @ direction
    ra, rb = np.sqrt(np.sum((a - x) ** 2)), np.sqrt(np.sum((b - x) ** 2))
    square = max(ra * ra - near * near, 0.0)
    log = 0.0
    if square > 0.0:
        offset = np.sqrt(square)
        log = square * (np.arcsinh(far / offset) - np.arcsinh(near / offset))
    return float(0.5 * (far * rb - near * ra + log) / length)
