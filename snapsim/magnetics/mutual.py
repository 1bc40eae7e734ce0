"""How two soft bodies magnetise and pull each other: charge on charge across the gap.

    E_ab = mu_0 sigma_a . P sigma_b,    P_fg = integral over f, integral over g of
                                               dS dS' / (4 pi |x - x'|)    [m^3]

sigma = D M [A/m] the charges on the faces of the cells of bodies a and b (`charged_faces`), P the
Galerkin single layer between them in their present pose, computed one way; its transpose serves
the other way. So the joint demagnetising operator is [[A_a, C], [C^T, A_b]], C = D_a^T P D_b.

Four rules give P_fg, by s = centre distance over twice the larger radius of the two faces:
  far       moments of both faces up to the second,  1/r + (3 r.S r - r^2 tr S) / (2 r^5);
  middle    2 x 2 Gauss points on both;
  close     4 x 4 points on the smaller face, the larger in closed form (`charged_polygon`);
  touching  the same with 6 x 6 points; both crowd toward the edges (u = t^2 (3 - 2t)).
Between two rules P is a weighted mean, the weight a polynomial of s^2 with two continuous
derivatives (`Rules`), and so it is between these rules and the nodes of `distant_charges`, to
which bodies far apart go over: energy and force are smooth in the pose. Force and torque are the
exact gradient of this P, the weights included, and the other body's are their opposites: the third
law and the balance of angular momentum hold to rounding.

Assumptions: the bodies do not overlap; touching is allowed, and a body in the plane of another's
face feels the field outside it. Accuracy: entries of P to some 1e-3, the force of one part on
another by that to 1 % or better at any gap, zero included; what limits parts nearly in contact is
the size of the cells against the gap (see the tests). Source: as for
`single_layer`; multipole expansion: Jackson, Classical Electrodynamics, 3rd ed., section 4.1 (from
memory); the quintic weight is Perlin's smoothstep, from memory.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from snapsim.arrays import Array, IntArray
from snapsim.constants import MU_0
from snapsim.magnetics.charged_faces import ChargedFaces
from snapsim.magnetics.charged_polygon import FOUR_PI, polygon_edges, potential_and_field
from snapsim.magnetics.distant_charges import Nodes, kernel, nodes_of, push, weight
from snapsim.magnetics.single_layer import Polygons
from snapsim.numerics.compilation import bare, compiled, part_of_caller, summing_quotients


class Rules(NamedTuple):
    """Points along a side of the middle, close and touching rule, and where each takes over.

    `blends` rows (s where the nearer rule ends to count alone, s from which the farther one counts
    alone): touching to close, close to middle, middle to far. Where `on_points`, the close rule has
    its points on both faces, as the middle one.
    """

    sides: tuple[int, int, int]
    blends: Array
    on_points: bool


PLAIN: Final = Rules((2, 4, 6), np.array([[0.5, 0.65], [1.0, 1.2], [1.6, 1.9]]), False)

FINE: Final = Rules((3, 5, 8), np.array([[0.8, 0.95], [1.3, 1.5], [1.6, 1.9]]), True)
"""For charges that cancel across a gap: of two rings 0.1 mm apart the plain ones miss 4 N of 30."""

LEAN: Final = Rules((2, 3, 4), np.array([[0.5, 0.65], [0.9, 1.1], [1.3, 1.5]]), True)
"""For charges that are small beside others: those of m - M in `joint_fluxes`."""


NODE_POINTS: Final = 4
"""Points along a side of the rule that gathers charges on nodes."""


class FaceSet(NamedTuple):
    """The f faces of a body for compiled code.

    `moments` (11, f): centroid, area, second moment (6), radius; `polygon` (f, 5, 3): corners and
    normal, which points out of the body on its surface; `points` (f, q, 4): points
    and weights [m^2] of the three rules one after another.
    """

    moments: Array
    polygon: Array
    points: Array
    nodes: Nodes


@dataclass(frozen=True)
class Interaction:
    """P of two bodies in one pose, (1 - share) `potential` + share U_a K U_b^T over the nodes, and
    what its gradient needs.

    `potential` (f_a, f_b) [m^3]; `near` (k, 2) the pairs of faces not only under the far rule and
    `load` (k, 6) minus the gradient of their nearer part: force [m^2] and torque [m^3] on body a
    about its centre per unit charges, a's axes. `a`, `b` are the faces, all in a's axes; `far` the
    last row of the rules' blends; `slope` (6,) the share's gradient when a is moved and turned.
    """

    a: FaceSet
    b: FaceSet
    potential: Array
    near: IntArray
    load: Array
    share: float
    slope: Array
    kernel: Array
    far: tuple[float, float]

    @property
    def blocks(self) -> list[tuple[bool, Array]]:
        """The parts of P, times their share: (False, over faces) or (True, K over the nodes)."""
        parts = [(False, 1 - self.share, self.potential), (True, self.share, self.kernel)]
        return [(far, w * p if w < 1 else p) for far, w, p in parts if w > 0]


def face_set(faces: ChargedFaces, rules: Rules = PLAIN) -> FaceSet:
    """Return the faces packed for these rules, body axes."""
    shapes = faces.shapes
    moments = np.vstack([faces.centroid.T, shapes.area, faces.moment.T, shapes.radius])
    polygon = np.concatenate([shapes.corners, shapes.normal[:, None]], axis=1)
    inward = np.einsum("fi,fi->f", shapes.normal, faces.outward[:, 0]) < 0
    polygon[inward, :4], polygon[inward, 4] = shapes.corners[inward, ::-1], -shapes.normal[inward]
    crowd = False, not rules.on_points, True
    points = [_product_rule(shapes, n, c) for n, c in zip(rules.sides, crowd, strict=True)]
    nodes = nodes_of(shapes.corners, _product_rule(shapes, NODE_POINTS, True))
    return FaceSet(
        np.ascontiguousarray(moments),
        np.ascontiguousarray(polygon),
        np.concatenate(points, axis=1),
        nodes,
    )


def placed_nodes(nodes: Nodes, rotation: Array, shift: Array) -> Nodes:
    """Return nodes in the other body's axes."""
    return nodes._replace(
        place=nodes.place @ rotation.T + shift, centre=rotation @ nodes.centre + shift
    )


def nodes_share(a: Nodes, b: Nodes) -> tuple[float, Array]:
    """Return the share of P that goes by the nodes, in the same axes, 0 to 1, and its gradient (6,)
    when a is moved [1/m] and turned about the origin."""
    share, slope = weight(a.centre - b.centre, a.reach + b.reach)
    return share, np.concatenate([slope, np.cross(a.centre, slope)])


def interaction(
    a: FaceSet,
    b: FaceSet,
    rotation: Array,
    shift: Array,
    rules: Rules = PLAIN,
    out: NDArray[Any] | None = None,
    passing: tuple[float, Array] | None = None,
) -> Interaction:
    """Return P of faces `a` and `b`; x_a = rotation x_b + shift takes b's axes to a's.

    Both must have been packed for these `rules`. `out` (f_a, f_b) is where to put it, if given;
    `passing` the nodes' share and its gradient where it is not that of `nodes_share`.
    """
    near, load = np.empty((0, 2), dtype=np.int64), np.empty((0, 6))
    nodes = placed_nodes(b.nodes, rotation, shift)
    share, slope = passing or nodes_share(a.nodes, nodes)
    between = kernel(a.nodes.place, nodes.place) if share > 0 else np.empty((0, 0))
    far = float(rules.blends[2, 0]), float(rules.blends[2, 1])
    if share == 1.0:
        placed = b._replace(nodes=nodes)
        return Interaction(a, placed, np.empty((0, 0)), near, load, share, slope, between, far)
    moments = np.empty_like(b.moments)
    _place_moments(b.moments, rotation, shift, moments)
    rows = np.empty(a.moments.shape[1], dtype=np.int64)
    count = _count_near(a.moments, moments, far[1], rows)
    placed = FaceSet(moments, b.polygon, b.points, nodes)
    potential = np.empty((a.moments.shape[1], moments.shape[1])) if out is None else out
    _far_potential(a.moments, moments, far, rows, potential)
    load = np.empty((count, 6))
    if count:
        near = np.empty((count, 2), dtype=np.int64)
        _list_near(a.moments, moments, far[1], rows, near)
        placed = FaceSet(moments, np.empty_like(b.polygon), np.empty_like(b.points), nodes)
        _place_near(b.polygon, b.points, rotation, shift, near, placed.polygon, placed.points)
        _near_potential(
            *(a.moments, a.polygon, a.points, moments, placed.polygon, placed.points),
            *(near, rules, potential, load),
        )
    return Interaction(a, placed, potential, near, load, share, slope, between, far)


def wrench(pair: Interaction, sigma_a: Array, sigma_b: Array) -> Array:
    """Return force [N] and torque [N m] about a's centre on body a (6,), in a's axes."""
    out = np.zeros(6)
    if pair.share < 1:
        _far_wrench(pair.a.moments, pair.b.moments, sigma_a, sigma_b, pair.near, pair.far, out)
        _near_wrench(pair.near, pair.load, sigma_a, sigma_b, out)
    if pair.share > 0:
        one, other = sigma_a @ pair.a.nodes.gather, sigma_b @ pair.b.nodes.gather
        distant = np.zeros(6)
        push(pair.a.nodes.place, pair.b.nodes.place, one, other, distant)
        out = (1 - pair.share) * out + pair.share * distant
        if pair.share < 1:
            gain = one @ pair.kernel @ other - sigma_a @ pair.potential @ sigma_b
            out -= gain * pair.slope
    return MU_0 * out


def _product_rule(shapes: Polygons, n: int, crowd: bool) -> Array:
    """Points and weights (f, n n, 4) of a Gauss product rule on each face."""
    x, w = np.polynomial.legendre.leggauss(n)
    t, w = (x + 1) / 2, w / 2
    if crowd:
        t, w = t * t * (3 - 2 * t), w * 6 * t * (1 - t)
    u, v = (grid.reshape(-1, 1) for grid in np.meshgrid(t, t, indexing="ij"))
    p = shapes.corners[:, None]
    first, second = p[:, :, 1] - p[:, :, 0], p[:, :, 2] - p[:, :, 3]
    along = (1 - v) * first + v * second
    across = (1 - u) * (p[:, :, 3] - p[:, :, 0]) + u * (p[:, :, 2] - p[:, :, 1])
    place = p[:, :, 0] + u * first + v * (p[:, :, 3] - p[:, :, 0] + u * (second - first))
    element = np.linalg.norm(np.cross(along, across), axis=2) * np.outer(w, w).ravel()
    return np.concatenate([place, element[:, :, None]], axis=2)


@compiled
def _place_moments(moments: Array, rotation: Array, shift: Array, placed: Array) -> None:
    """Set `placed` to `moments` (11, f) in new axes."""
    s, half = np.empty((3, 3)), np.empty((3, 3))
    placed[:] = moments
    for f in range(moments.shape[1]):
        for i in range(3):
            placed[i, f] = shift[i]
            for k in range(3):
                placed[i, f] += rotation[i, k] * moments[k, f]
        s[0, 0], s[1, 1], s[2, 2] = moments[4, f], moments[5, f], moments[6, f]
        s[0, 1], s[0, 2], s[1, 2] = moments[7, f], moments[8, f], moments[9, f]
        s[1, 0], s[2, 0], s[2, 1] = moments[7, f], moments[8, f], moments[9, f]
        for i in range(3):
            for j in range(3):
                half[i, j] = 0.0
                for k in range(3):
                    half[i, j] += rotation[i, k] * s[k, j]
        for row in range(6):
            i = row if row < 3 else (row - 3) // 2
            j = row if row < 3 else min(row - 2, 2)
            total = 0.0
            for k in range(3):
                total += half[i, k] * rotation[j, k]
            placed[4 + row, f] = total


@compiled
def _place_near(
    polygon: Array, points: Array, rotation: Array, shift: Array, near: IntArray, polygons: Array,
    placed: Array,
) -> None:  # fmt: skip
    """Fill `polygons` and `placed` with those of the faces in near[:, 1], in new axes."""
    done = np.zeros(len(polygon), dtype=np.bool_)
    for pair in range(len(near)):
        g = near[pair, 1]
        if done[g]:
            continue
        done[g] = True
        for i in range(3):
            for k in range(5):
                polygons[g, k, i] = shift[i] if k < 4 else 0.0
                for j in range(3):
                    polygons[g, k, i] += rotation[i, j] * polygon[g, k, j]
            for k in range(points.shape[1]):
                placed[g, k, i] = (
                    shift[i]
                    + rotation[i, 0] * points[g, k, 0]
                    + rotation[i, 1] * points[g, k, 1]
                    + rotation[i, 2] * points[g, k, 2]
                )
        placed[g, :, 3] = points[g, :, 3]


@part_of_caller
def _ratio(r2: float, one: float, other: float) -> float:
    """s^2 of two faces at squared distance `r2` with radii `one` and `other`."""
    largest = max(one, other)
    return r2 / (4.0 * largest * largest)


@summing_quotients
def _count_near(a: Array, b: Array, end: float, rows: IntArray) -> int:
    """Set `rows` (f_a,) to the number of near faces of b for each face of a; return their sum."""
    limit = end * end
    low, high, widest = _box(b)
    total = 0
    for f in range(a.shape[1]):
        rows[f] = 0
        reach = 2 * end * max(widest, a[10, f])
        outside = 0.0
        for i in range(3):
            outside += max(low[i] - a[i, f], a[i, f] - high[i], 0.0) ** 2
        if outside > reach * reach:
            continue
        x, y, z, size = a[0, f], a[1, f], a[2, f], a[10, f]
        count = 0
        for g in range(b.shape[1]):
            dx, dy, dz = x - b[0, g], y - b[1, g], z - b[2, g]
            s2 = _ratio(dx * dx + dy * dy + dz * dz, size, b[10, g])
            count += 1 if s2 < limit else 0
        rows[f] = count
        total += count
    return total


@compiled
def _box(b: Array) -> tuple[Array, Array, float]:
    """Least and greatest centroid (3,) and the largest radius."""
    low, high = np.full(3, np.inf), np.full(3, -np.inf)
    widest = 0.0
    for g in range(b.shape[1]):
        for i in range(3):
            low[i], high[i] = min(low[i], b[i, g]), max(high[i], b[i, g])
        widest = max(widest, b[10, g])
    return low, high, widest


@bare
def _list_near(a: Array, b: Array, end: float, rows: IntArray, near: IntArray) -> None:
    limit = end * end
    at = 0
    for f in range(a.shape[1]):
        if rows[f] == 0:
            continue
        x, y, z, size, end_of_row = a[0, f], a[1, f], a[2, f], a[10, f], at + rows[f]
        for g in range(b.shape[1]):
            if at == end_of_row:
                break
            dx, dy, dz = x - b[0, g], y - b[1, g], z - b[2, g]
            if at < len(near) and _ratio(dx * dx + dy * dy + dz * dz, size, b[10, g]) < limit:
                near[at, 0], near[at, 1] = f, g
                at += 1


@part_of_caller
def _weight(s2: float, low2: float, high2: float) -> tuple[float, float]:
    """Weight of the farther rule at s^2, from 0 at `low2` to 1 at `high2`, and its derivative."""
    u = min(max((s2 - low2) / (high2 - low2), 0.0), 1.0)
    return u * u * u * (10 - u * (15 - 6 * u)), 30 * u * u * (1 - u) * (1 - u) / (high2 - low2)


@summing_quotients
def _far_potential(
    a: Array, b: Array, far: tuple[float, float], rows: IntArray, potential: NDArray[Any]
) -> None:
    """Set `potential` (f_a, f_b) by the far rule, times its weight."""
    low2, high2 = far[0] ** 2, far[1] ** 2
    for f in range(a.shape[1]):
        x, y, z, area, size = a[0, f], a[1, f], a[2, f], a[3, f] / FOUR_PI, a[10, f]
        p, q, s, t, u, v = a[4, f], a[5, f], a[6, f], a[7, f], a[8, f], a[9, f]
        row = potential[f]
        for g in range(b.shape[1]):
            dx, dy, dz = x - b[0, g], y - b[1, g], z - b[2, g]
            r2 = dx * dx + dy * dy + dz * dz + 1e-300
            inverse = 1.0 / r2
            xx, yy, zz, xy, xz, yz = (
                p + b[4, g], q + b[5, g], s + b[6, g], t + b[7, g], u + b[8, g], v + b[9, g],
            )  # fmt: skip
            form = xx * dx * dx + yy * dy * dy + zz * dz * dz
            form += 2 * (dx * (xy * dy + xz * dz) + yz * dy * dz)
            trace = xx + yy + zz
            row[g] = (
                area * b[3, g] * np.sqrt(inverse)
                * (1 + inverse * (1.5 * form * inverse - 0.5 * trace))
            )  # fmt: skip
        if rows[f] == 0:
            continue
        for g in range(b.shape[1]):
            dx, dy, dz = x - b[0, g], y - b[1, g], z - b[2, g]
            s2 = _ratio(dx * dx + dy * dy + dz * dz, size, b[10, g])
            w = _weight(s2, low2, high2)[0]
            row[g] = w * row[g] if w > 0 else 0.0


@compiled
def _far_wrench(
    a: Array, b: Array, sigma_a: Array, sigma_b: Array, near: IntArray, far: tuple[float, float],
    out: Array,
) -> None:  # fmt: skip
    """Add force and torque (6,) on a of the far rule, weights and their slope included.

    Only faces of a that take part in a pair of `near` need the weights, and these cost most.
    """
    blended = np.zeros(a.shape[1], dtype=np.bool_)
    for k in range(len(near)):
        blended[near[k, 0]] = True
    charge, sums = b[3] * sigma_b, np.empty(9)
    for f in range(a.shape[1]):
        if blended[f]:
            _pushes_blended(a, f, b, far, charge, sums)
        else:
            _pushes(a, f, b, charge, sums)
        x, y, z = a[0, f], a[1, f], a[2, f]
        p, q, s, t, u, v = a[4, f], a[5, f], a[6, f], a[7, f], a[8, f], a[9, f]
        scale = sigma_a[f] * a[3, f] / FOUR_PI
        fx, fy, fz = scale * sums[0], scale * sums[1], scale * sums[2]
        qxx, qyy, qzz, qxy, qxz, qyz = sums[3], sums[4], sums[5], sums[6], sums[7], sums[8]
        out[0] += fx
        out[1] += fy
        out[2] += fz
        # turning the face's own moment: -3 (S r) x r / r^5, summed in Q = r r^T 3 / r^5
        out[3] += (
            y * fz - z * fy - scale * (t * qxz + q * qyz + v * qzz - u * qxy - v * qyy - s * qyz)
        )
        out[4] += (
            z * fx - x * fz - scale * (u * qxx + v * qxy + s * qxz - p * qxz - t * qyz - u * qzz)
        )
        out[5] += (
            x * fy - y * fx - scale * (p * qxy + t * qyy + u * qyz - t * qxx - q * qxy - v * qxz)
        )


@summing_quotients
def _pushes(a: Array, f: int, b: Array, charge: Array, sums: Array) -> None:
    """Set `sums` (9,) to the field at face f of a of the charges on b, and Q, of the far rule."""
    x, y, z = a[0, f], a[1, f], a[2, f]
    p, q, s, t, u, v = a[4, f], a[5, f], a[6, f], a[7, f], a[8, f], a[9, f]
    fx, fy, fz, qxx, qyy, qzz, qxy, qxz, qyz = 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0
    for g in range(b.shape[1]):
        dx, dy, dz = x - b[0, g], y - b[1, g], z - b[2, g]
        inverse = 1.0 / (dx * dx + dy * dy + dz * dz)
        k3 = charge[g] * np.sqrt(inverse) * inverse
        xx, yy, zz, xy, xz, yz = (
            p + b[4, g], q + b[5, g], s + b[6, g], t + b[7, g], u + b[8, g], v + b[9, g],
        )  # fmt: skip
        sx = xx * dx + xy * dy + xz * dz
        sy = xy * dx + yy * dy + yz * dz
        sz = xz * dx + yz * dy + zz * dz
        form = (sx * dx + sy * dy + sz * dz) * inverse
        k5 = 3 * k3 * inverse
        radial = k3 + 0.5 * k5 * (5 * form - (xx + yy + zz))
        fx += radial * dx - k5 * sx
        fy += radial * dy - k5 * sy
        fz += radial * dz - k5 * sz
        kx, ky, kz = k5 * dx, k5 * dy, k5 * dz
        qxx += kx * dx
        qyy += ky * dy
        qzz += kz * dz
        qxy += kx * dy
        qxz += kx * dz
        qyz += ky * dz
    sums[0], sums[1], sums[2] = fx, fy, fz
    sums[3], sums[4], sums[5], sums[6], sums[7], sums[8] = qxx, qyy, qzz, qxy, qxz, qyz


@summing_quotients
def _pushes_blended(
    a: Array, f: int, b: Array, far: tuple[float, float], charge: Array, sums: Array
) -> None:
    """The same with each pair's weight and the push of its slope."""
    low2, high2 = far[0] ** 2, far[1] ** 2
    x, y, z, size = a[0, f], a[1, f], a[2, f], a[10, f]
    p, q, s, t, u, v = a[4, f], a[5, f], a[6, f], a[7, f], a[8, f], a[9, f]
    fx, fy, fz, qxx, qyy, qzz, qxy, qxz, qyz = 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0
    for g in range(b.shape[1]):
        dx, dy, dz = x - b[0, g], y - b[1, g], z - b[2, g]
        r2 = dx * dx + dy * dy + dz * dz
        largest = max(size, b[10, g])
        per = 1.0 / (4.0 * largest * largest)
        w, slope = _weight(r2 * per, low2, high2)
        slope *= 2.0 * per
        r2 = max(r2, 1e-30 + 0.5 * low2 / per)
        inverse = 1.0 / r2
        k = charge[g] * np.sqrt(inverse)
        xx, yy, zz, xy, xz, yz = (
            p + b[4, g], q + b[5, g], s + b[6, g], t + b[7, g], u + b[8, g], v + b[9, g],
        )  # fmt: skip
        sx = xx * dx + xy * dy + xz * dz
        sy = xy * dx + yy * dy + yz * dz
        sz = xz * dx + yz * dy + zz * dz
        form = (sx * dx + sy * dy + sz * dz) * inverse
        trace = xx + yy + zz
        value = k * (1 + inverse * (1.5 * form - 0.5 * trace))
        k3 = w * k * inverse
        radial = k3 * (1 + inverse * (7.5 * form - 1.5 * trace)) - value * slope
        k5 = 3 * k3 * inverse
        fx += radial * dx - k5 * sx
        fy += radial * dy - k5 * sy
        fz += radial * dz - k5 * sz
        qxx += k5 * dx * dx
        qyy += k5 * dy * dy
        qzz += k5 * dz * dz
        qxy += k5 * dx * dy
        qxz += k5 * dx * dz
        qyz += k5 * dy * dz
    sums[0], sums[1], sums[2] = fx, fy, fz
    sums[3], sums[4], sums[5], sums[6], sums[7], sums[8] = qxx, qyy, qzz, qxy, qxz, qyz


@bare
def _near_wrench(near: IntArray, load: Array, sigma_a: Array, sigma_b: Array, out: Array) -> None:
    for k in range(len(near)):
        product = sigma_a[near[k, 0]] * sigma_b[near[k, 1]]
        for i in range(6):
            out[i] += product * load[k, i]


@compiled
def _near_potential(
    moments_a: Array, polygon_a: Array, points_a: Array,
    moments_b: Array, polygon_b: Array, points_b: Array,
    near: IntArray, rules: Rules, potential: NDArray[Any], load: Array,
) -> None:  # fmt: skip
    """Add the nearer rules' part to `potential`, and set `load` (k, 6) to minus its gradient."""
    part, blends = np.empty(7), rules.blends
    middle = rules.sides[0] ** 2
    close = middle + rules.sides[1] ** 2
    touching = close + rules.sides[2] ** 2
    for k in range(len(near)):
        f, g = near[k, 0], near[k, 1]
        dx, dy, dz = (
            moments_a[0, f] - moments_b[0, g],
            moments_a[1, f] - moments_b[1, g],
            moments_a[2, f] - moments_b[2, g],
        )
        largest = max(moments_a[10, f], moments_b[10, g])
        per = 1.0 / (4 * largest * largest)
        s2 = per * (dx * dx + dy * dy + dz * dz)
        total, radial = 0.0, 0.0
        load[k] = 0.0
        outer_a = moments_a[10, f] <= moments_b[10, g]
        for rule in range(3):
            # weight of the rule: the farther rules' weights end it, the nearer ones' begin it
            w, slope = 1.0, 0.0
            if rule > 0:
                w, slope = _weight(s2, blends[rule - 1, 0] ** 2, blends[rule - 1, 1] ** 2)
            ends, falls = _weight(s2, blends[rule, 0] ** 2, blends[rule, 1] ** 2)
            w, slope = w * (1 - ends), slope * (1 - ends) - w * falls
            if w <= 0:
                continue
            if rule == 2:
                _points_on_points(points_a[f], points_b[g], 0, middle, part)
            elif rule == 1 and rules.on_points:
                _points_on_points(points_a[f], points_b[g], middle, close, part)
            else:
                first, last = middle, close
                if rule == 0:
                    first, last = close, touching
                if outer_a:
                    _points_on_polygon(points_a[f, first:last], polygon_b[g], 1.0, part)
                else:
                    _points_on_polygon(points_b[g, first:last], polygon_a[f], -1.0, part)
            total += w * part[0]
            radial -= slope * part[0]
            for i in range(6):
                load[k, i] += w * part[1 + i]
        potential[f, g] += total
        radial *= 2 * per
        fx, fy, fz = radial * dx, radial * dy, radial * dz
        x, y, z = moments_a[0, f], moments_a[1, f], moments_a[2, f]
        load[k, 0] += fx
        load[k, 1] += fy
        load[k, 2] += fz
        load[k, 3] += y * fz - z * fy
        load[k, 4] += z * fx - x * fz
        load[k, 5] += x * fy - y * fx


@summing_quotients
def _points_on_points(a: Array, b: Array, first: int, last: int, part: Array) -> None:
    """Set `part` to P and minus its gradient for points `first` to `last` of both faces."""
    total, fx, fy, fz, tx, ty, tz = 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0
    for i in range(first, last):
        x, y, z, w = a[i, 0], a[i, 1], a[i, 2], a[i, 3] / FOUR_PI
        hx, hy, hz = 0.0, 0.0, 0.0
        for j in range(first, last):
            dx, dy, dz = x - b[j, 0], y - b[j, 1], z - b[j, 2]
            inverse = 1.0 / (dx * dx + dy * dy + dz * dz)
            k = w * b[j, 3] * np.sqrt(inverse)
            total += k
            k *= inverse
            hx += k * dx
            hy += k * dy
            hz += k * dz
        fx, fy, fz = fx + hx, fy + hy, fz + hz
        tx, ty, tz = tx + y * hz - z * hy, ty + z * hx - x * hz, tz + x * hy - y * hx
    part[0], part[1], part[2], part[3] = total, fx, fy, fz
    part[4], part[5], part[6] = tx, ty, tz


@compiled
def _points_on_polygon(points: Array, polygon: Array, sign: float, part: Array) -> None:
    """Set `part` to P and `sign` times minus its gradient on the points' face."""
    edges = np.empty((5, 7))
    polygon_edges(polygon[:4], polygon[4], edges)
    total, fx, fy, fz, tx, ty, tz = 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0
    for k in range(len(points)):
        x, y, z, w = points[k, 0], points[k, 1], points[k, 2], points[k, 3]
        phi, hx, hy, hz = potential_and_field(edges, 1.0, x, y, z)
        total += w * phi
        w *= sign
        hx, hy, hz = w * hx, w * hy, w * hz
        fx, fy, fz = fx + hx, fy + hy, fz + hz
        tx, ty, tz = tx + y * hz - z * hy, ty + z * hx - x * hz, tz + x * hy - y * hx
    part[0], part[1], part[2], part[3] = total, fx, fy, fz
    part[4], part[5], part[6] = tx, ty, tz
