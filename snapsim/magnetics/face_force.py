"""Force, torque and energy between two magnets, by the charge on the one's faces.

    E = mu0 integral of sigma phi dS,   F = mu0 integral of sigma H dS,
    T = mu0 integral of (x - c) x sigma H dS,   sigma = M.n

over the surface of the body acted on, phi [A] and H = -grad phi [A/m] of the other in closed form;
F [N], T [N m] about c, E [J] (Jackson, Classical Electrodynamics, 3rd ed., section 5.9; from
memory).
phi and H of a charged polygon and of a body of revolution are those of `charged_polygon` and
`sources.cylinder`: phi = -M.grad U, and the end disc's share of dU/dz follows from Euler's theorem
on homogeneous functions, v = zeta v_zeta + rho v_rho + a v_a.

Only edges of the source make H uneven (as a logarithm). A patch is halved, in the parameter along
which it is the longer measured square to the nearest such edge, until that length is at most
`SHARE` times the distance to the edge, or the whole panel is `LEAST` of the body: an edge along a
patch is thus met by long narrow panels, one across it by small ones. A panel has a Gauss rule of
`ORDER` x `ORDER` points. At fixed panels F and T are exact derivatives of E; panels change with the
pose, so that F and the slope of E agree to the rule's error (`tests/magnetics/test_face_force.py`).
"""

from __future__ import annotations

import math

import numpy as np

from snapsim.arrays import Array
from snapsim.constants import MU_0
from snapsim.magnetics.charged_polygon_field import EDGE_ROW, FACE_HEAD, FLOOR, solid_angle
from snapsim.magnetics.charged_surface import Surface
from snapsim.magnetics.cylinder_end import end_functions
from snapsim.numerics.compilation import bare
from snapsim.numerics.elliptic_integrals import complete_integrals

Four = tuple[float, float, float, float]

ORDER = 6
SHARE = 2.0
LEAST = 1 / 64
SKIN = 1e-5
"""Depth over the source's size within which a point counts as on its surface, from outside."""
NARROW = 2e-4
"""Least length square to an edge that panels are halved to, over the body's size."""
EVEN = 1 + 1e-9
DEEP = 200
"""Panels that may wait for their turn."""
INV_4PI = 1 / (4 * math.pi)
NODES, WEIGHTS = np.polynomial.legendre.leggauss(ORDER)
FEW = 4
"""Order for plane panels far smaller than their distance to any edge (`SMALL` of `SHARE`)."""
SMALL = 0.15
FEW_NODES, FEW_WEIGHTS = np.polynomial.legendre.leggauss(FEW)
SPLIT_U, SPLIT_V, WHOLE, WHOLE_AND_SMALL = 0, 1, 2, 3


@bare
def _log(row: Array, x: float, y: float, z: float) -> float:
    """L = ln[(ra + rb + l)/(ra + rb - l)] of an edge."""
    length = row[6]
    px, py, pz = x - row[0], y - row[1], z - row[2]
    low = px * row[3] + py * row[4] + pz * row[5]
    high = low - length
    dx, dy, dz = px - low * row[3], py - low * row[4], pz - low * row[5]
    d2 = max(dx * dx + dy * dy + dz * dz, (FLOOR * length) ** 2)
    ra, rb = math.sqrt(d2 + low * low), math.sqrt(d2 + high * high)
    minus = ra + rb - length
    if d2 < 0.01 * length * length:
        rr = ra * rb + low * high
        if low * high <= 0:
            rr = d2 * (d2 + low * low + high * high) / (ra * rb - low * high)
        minus = 2 * (d2 + rr) / (ra + rb + length)
    return math.log1p(2 * length / minus)


@bare
def _polyhedron(
    par: Array, skin: float, x: float, y: float, z: float, mx: float, my: float, mz: float
) -> Four:
    """Return (phi, Hx, Hy, Hz) of a body of plane faces."""
    phi, hx, hy, hz = 0.0, 0.0, 0.0, 0.0
    at = 2
    for _ in range(int(par[0])):
        face = par[at:]
        sigma = mx * face[0] + my * face[1] + mz * face[2]
        if sigma != 0:
            px, py, pz = x - face[4], y - face[5], z - face[6]
            height = px * face[0] + py * face[1] + pz * face[2]
            s = sigma * solid_angle(face, skin, x, y, z)
            phi -= s * height
            hx, hy, hz = hx + s * face[0], hy + s * face[1], hz + s * face[2]
        at += FACE_HEAD + 3 * int(face[3])
    for _ in range(int(par[1])):
        row = par[at : at + EDGE_ROW]
        at += EDGE_ROW
        first = mx * row[7] + my * row[8] + mz * row[9]
        second = mx * row[13] + my * row[14] + mz * row[15]
        sx, sy, sz = (
            first * row[10] + second * row[16],
            first * row[11] + second * row[17],
            first * row[12] + second * row[18],
        )
        if sx == 0 and sy == 0 and sz == 0:
            continue
        log = _log(row, x, y, z)
        hx, hy, hz = hx + log * sx, hy + log * sy, hz + log * sz
        phi += log * (sx * (row[0] - x) + sy * (row[1] - y) + sz * (row[2] - z))
    return INV_4PI * phi, INV_4PI * hx, INV_4PI * hy, INV_4PI * hz


@bare
def _disc(a: float, rho: float, zeta: float, e: float, c: float) -> float:
    """Potential of a disc of unit charge over 4 pi [m]."""
    big2 = (a + rho) ** 2 + zeta * zeta
    small2 = max((a - rho) ** 2 + zeta * zeta, (FLOOR * a) ** 2)
    k, _, _ = complete_integrals(math.sqrt(small2 / big2), 4 * a * rho / big2, 1.0)
    return zeta * e + rho * rho * c + a * a * k / (math.pi * math.sqrt(big2))


@bare
def _cylinder(
    par: Array, skin: float, sign: float, x: float, y: float, z: float,
    mx: float, my: float, mz: float,
) -> Four:  # fmt: skip
    """Return (phi, Hx, Hy, Hz) of a solid cylinder; `sign` -1: of the matter around it."""
    a, h = par[0], par[1]
    rho = math.sqrt(x * x + y * y)
    within = abs(z) < h and abs(z) > h - skin and rho < a
    if within:
        z = h if z > 0 else -h
    if abs(z) < h and abs(rho - a) <= skin:
        # on the wall, from outside the matter
        to = a * (1 + sign * 1e-12)
        if sign * (rho - a) < 0:
            x, y, rho = x * to / rho, y * to / rho, to
    above, below = z + h, z - h
    e1, c1, q1, s1, _, _ = end_functions(a, rho, above, 1.0 if above > 0 else -1.0)
    e0, c0, q0, s0, _, _ = end_functions(a, rho, below, 1.0 if below >= 0 else -1.0)
    uzz, duz, du, d2u = e1 - e0, c1 - c0, q1 - q0, s1 - s0
    if abs(z) < h:
        if rho < a:
            du -= 0.5
        else:
            ratio = a * a / (rho * rho)
            du -= 0.5 * ratio
            d2u += ratio / (rho * rho)
    phi = -(mx * x + my * y) * du
    if mz != 0:
        phi -= mz * (_disc(a, rho, above, e1, c1) - _disc(a, rho, below, e0, c0))
    mr = mx * x + my * y
    return (
        phi,
        du * mx + x * d2u * mr + x * duz * mz,
        du * my + y * d2u * mr + y * duz * mz,
        duz * mr + uzz * mz,
    )


@bare
def _ball(par: Array, x: float, y: float, z: float, mx: float, my: float, mz: float) -> Four:
    """Return (phi, Hx, Hy, Hz) outside a ball: a dipole."""
    r2 = max(x * x + y * y + z * z, par[0] * par[0])
    s = par[0] ** 3 / (3 * r2 * math.sqrt(r2))
    p = mx * x + my * y + mz * z
    t = 3 * p / r2
    return s * p, s * (t * x - mx), s * (t * y - my), s * (t * z - mz)


@bare
def _potential_and_field(
    primitives: Array, numbers: Array, skin: float, x: float, y: float, z: float,
    mx: float, my: float, mz: float,
) -> Four:  # fmt: skip
    """Return (phi, Hx, Hy, Hz) of a whole source at a point outside it, source axes."""
    phi, hx, hy, hz = 0.0, 0.0, 0.0, 0.0
    for k in range(len(primitives)):
        row = primitives[k]
        par = numbers[int(row[14]) : int(row[15])]
        dx, dy, dz = x - row[11], y - row[12], z - row[13]
        px = row[2] * dx + row[5] * dy + row[8] * dz
        py = row[3] * dx + row[6] * dy + row[9] * dz
        pz = row[4] * dx + row[7] * dy + row[10] * dz
        nx = row[2] * mx + row[5] * my + row[8] * mz
        ny = row[3] * mx + row[6] * my + row[9] * mz
        nz = row[4] * mx + row[7] * my + row[10] * mz
        if row[0] == 0:
            f, a, b, c = _polyhedron(par, skin, px, py, pz, nx, ny, nz)
        elif row[0] == 1:
            f, a, b, c = _cylinder(par, skin, row[1], px, py, pz, nx, ny, nz)
        else:
            f, a, b, c = _ball(par, px, py, pz, nx, ny, nz)
        phi += row[1] * f
        hx += row[1] * (row[2] * a + row[3] * b + row[4] * c)
        hy += row[1] * (row[5] * a + row[6] * b + row[7] * c)
        hz += row[1] * (row[8] * a + row[9] * b + row[10] * c)
    return phi, hx, hy, hz


@bare
def _point(row: Array, u: float, v: float, out: Array) -> None:
    """Set `out` (6,) to the point of a patch and to n dS/(du dv), body axes."""
    if row[0] == 0:
        for a in range(3):
            p, q, r, s = row[1 + a], row[4 + a], row[7 + a], row[10 + a]
            out[a] = (1 - u) * ((1 - v) * p + v * s) + u * ((1 - v) * q + v * r)
        ax = (1 - v) * (row[4] - row[1]) + v * (row[7] - row[10])
        ay = (1 - v) * (row[5] - row[2]) + v * (row[8] - row[11])
        az = (1 - v) * (row[6] - row[3]) + v * (row[9] - row[12])
        bx = (1 - u) * (row[10] - row[1]) + u * (row[7] - row[4])
        by = (1 - u) * (row[11] - row[2]) + u * (row[8] - row[5])
        bz = (1 - u) * (row[12] - row[3]) + u * (row[9] - row[6])
        out[3] = ay * bz - az * by
        out[4] = az * bx - ax * bz
        out[5] = ax * by - ay * bx
        return
    c, s = math.cos(v), math.sin(v)
    if row[0] == 1:
        far = row[16] / math.cos(v - row[17]) if row[18] == 1 else row[16]
        r = row[15] + u * (far - row[15])
        x, y, z, nx, ny, nz = r * c, r * s, row[13], 0.0, 0.0, row[14] * r * (far - row[15])
    else:
        x, y, z, nx, ny, nz = (
            row[13] * c,
            row[13] * s,
            u,
            row[14] * row[13] * c,
            row[14] * row[13] * s,
            0.0,
        )
    for a in range(3):
        out[a] = row[10 + a] + row[1 + 3 * a] * x + row[2 + 3 * a] * y + row[3 + 3 * a] * z
        out[3 + a] = row[1 + 3 * a] * nx + row[2 + 3 * a] * ny + row[3 + 3 * a] * nz


@bare
def _to_source(turn: Array, shift: Array, p: Array) -> None:
    """Carry a point and a normal (6,) from the axes of the body acted on to the source's."""
    for o in (0, 3):
        x, y, z = p[o], p[o + 1], p[o + 2]
        for a in range(3):
            w = turn[a, 0] * x + turn[a, 1] * y + turn[a, 2] * z
            p[o + a] = w + shift[a] if o == 0 else w


@bare
def _beside_line(edge: Array, p: Array, w: Array) -> float:
    """Return the least distance of the 9 points from a straight edge.

    Sets `w` (2,) to the lengths, square to the edge, of the panel's middle lines in u and v.
    """
    tx, ty, tz = edge[4] - edge[1], edge[5] - edge[2], edge[6] - edge[3]
    length = math.sqrt(tx * tx + ty * ty + tz * tz)
    tx, ty, tz = tx / length, ty / length, tz / length
    near = 1e300
    for i in range(9):
        x, y, z = p[i, 0] - edge[1], p[i, 1] - edge[2], p[i, 2] - edge[3]
        s = min(max(x * tx + y * ty + z * tz, 0.0), length)
        near = min(near, (x - s * tx) ** 2 + (y - s * ty) ** 2 + (z - s * tz) ** 2)
    for k in range(2):
        i, j = (1, 7) if k == 0 else (3, 5)
        x, y, z = p[j, 0] - p[i, 0], p[j, 1] - p[i, 1], p[j, 2] - p[i, 2]
        s = x * tx + y * ty + z * tz
        w[k] = math.sqrt((x - s * tx) ** 2 + (y - s * ty) ** 2 + (z - s * tz) ** 2)
    return math.sqrt(near)


@bare
def _beside_circle(edge: Array, p: Array, w: Array, q: Array) -> float:
    """The same of a circle: lengths in its half plane (rho, z); `q` (9, 2) is room to work in."""
    near = 1e300
    for i in range(9):
        x, y, z = p[i, 0] - edge[1], p[i, 1] - edge[2], p[i, 2] - edge[3]
        h = x * edge[4] + y * edge[5] + z * edge[6]
        rho = math.sqrt((x - h * edge[4]) ** 2 + (y - h * edge[5]) ** 2 + (z - h * edge[6]) ** 2)
        q[i, 0], q[i, 1] = rho, h
        near = min(near, (rho - edge[7]) ** 2 + h * h)
    w[0], w[1] = 0.0, 0.0
    for k in range(3):
        for a in range(2):
            i, step = (k, 3) if a == 0 else (3 * k, 1)
            long = 0.0
            for j in (i, i + step):
                long += math.sqrt((q[j + step, 0] - q[j, 0]) ** 2 + (q[j + step, 1] - q[j, 1]) ** 2)
            w[a] = max(w[a], long)
    return math.sqrt(near)


@bare
def _split(
    row: Array, span: Array, turn: Array, shift: Array, edges: Array, size: float,
    p: Array, q: Array, w: Array,
) -> int:  # fmt: skip
    """Return whether a panel is to be halved, and along which parameter, or stays whole.

    `p` (9, 6), `q` (9, 2) and `w` (2,) are room to work in.
    """
    du, dv = 0.5 * (span[1] - span[0]), 0.5 * (span[3] - span[2])
    for i in range(3):
        for j in range(3):
            _point(row, span[0] + i * du, span[2] + j * dv, p[3 * i + j])
            _to_source(turn, shift, p[3 * i + j])
    along_u, along_v = 0.0, 0.0
    for a in range(3):
        along_u += (p[7, a] - p[1, a]) ** 2
        along_v += (p[5, a] - p[3, a]) ** 2
    if max(along_u, along_v) < (LEAST * size) ** 2 / EVEN:
        return WHOLE
    worst, which = 0.0, WHOLE
    for k in range(len(edges)):
        if edges[k, 0] == 0:
            near = _beside_line(edges[k], p, w)
        else:
            near = _beside_circle(edges[k], p, w, q)
        long = max(w[0], w[1])
        # the nearest of 3 x 3 points may be a quarter of the panel off
        reach = max(SHARE * max(near - 0.2 * long, 0.0), NARROW * size)
        # rounding decides nothing: mirrored panels are split alike
        if long > EVEN * worst * reach:
            worst, which = long / reach, SPLIT_U if w[0] * EVEN >= w[1] else SPLIT_V
    if worst > EVEN:
        return which
    return WHOLE_AND_SMALL if worst < SMALL and row[0] == 0 else WHOLE


@bare
def _add_panel(
    row: Array, span: Array, order: int, nodes: Array, weights: Array, turn: Array, shift: Array,
    m: Array, primitives: Array, numbers: Array, skin: float, source_m: Array, n: Array,
    out: Array,
) -> None:  # fmt: skip
    """Add the integrals over one panel to `out` (7,); `n` (6,) is room to work in."""
    du, dv = 0.5 * (span[1] - span[0]), 0.5 * (span[3] - span[2])
    for i in range(order):
        for j in range(order):
            _point(row, span[0] + du * (1 + nodes[i]), span[2] + dv * (1 + nodes[j]), n)
            q = du * dv * weights[i] * weights[j]
            q *= m[0] * n[3] + m[1] * n[4] + m[2] * n[5]
            _to_source(turn, shift, n)
            phi, hx, hy, hz = _potential_and_field(
                primitives, numbers, skin, n[0], n[1], n[2], source_m[0], source_m[1], source_m[2]
            )
            dx, dy, dz = n[0] - shift[0], n[1] - shift[1], n[2] - shift[2]
            out[0] += q * hx
            out[1] += q * hy
            out[2] += q * hz
            out[3] += q * (dy * hz - dz * hy)
            out[4] += q * (dz * hx - dx * hz)
            out[5] += q * (dx * hy - dy * hx)
            out[6] += q * phi


@bare
def _uncharged(row: Array, span: Array, m: Array, p: Array) -> bool:
    """Is M along a patch everywhere? `p` (6,) is room to work in."""
    whole = math.sqrt(m[0] ** 2 + m[1] ** 2 + m[2] ** 2)
    if row[0] == 2:
        return bool(abs(m[0] * row[3] + m[1] * row[6] + m[2] * row[9]) >= (1 - 1e-13) * whole)
    _point(row, 0.5 * (span[0] + span[1]), 0.5 * (span[2] + span[3]), p)
    area = math.sqrt(p[3] ** 2 + p[4] ** 2 + p[5] ** 2)
    return bool(abs(m[0] * p[3] + m[1] * p[4] + m[2] * p[5]) <= 1e-13 * area * whole)


@bare
def face_force(
    patches: Array, spans: Array, turn: Array, shift: Array, m: Array,
    primitives: Array, numbers: Array, edges: Array, source_size: float, source_m: Array,
    size: float, stack: Array, p: Array, q: Array, w: Array, out: Array,
) -> int:  # fmt: skip
    """Set `out` (7,) to F, T about the origin of the body acted on, and E over mu0, source axes.

    `turn` (3, 3) and `shift` (3,) [m] carry that body's axes to the source's; `m` its magnetisation
    and `source_m` [A/m], each in its own axes. Returns how many points were asked.
    """
    out[:] = 0.0
    skin, count = SKIN * source_size, 0
    for f in range(len(patches)):
        row, top = patches[f], 1
        for a in range(4):
            stack[0, a] = spans[f, a]
        if _uncharged(row, spans[f], m, p[0]):
            continue
        while top > 0:
            top -= 1
            span = stack[top]
            which = (
                _split(row, span, turn, shift, edges, size, p, q, w) if top + 2 < DEEP else WHOLE
            )
            if which < WHOLE:
                a = 2 * which
                middle = 0.5 * (span[a] + span[a + 1])
                for b in range(4):
                    stack[top + 1, b] = span[b]
                stack[top + 1, a] = middle
                span[a + 1] = middle
                top += 2
                continue
            few = which == WHOLE_AND_SMALL
            order = FEW if few else ORDER
            nodes, weights = (FEW_NODES, FEW_WEIGHTS) if few else (NODES, WEIGHTS)
            _add_panel(
                row, span, order, nodes, weights, turn, shift, m,
                primitives, numbers, skin, source_m, p[0], out,
            )  # fmt: skip
            count += order * order
    return count


def load_between(
    source: Surface, source_m: Array, on: Surface, m: Array, turn: Array, shift: Array
) -> tuple[Array, Array, float]:
    """Return force (3,) [N] and torque (3,) [N m] about its origin on `on`, and energy [J].

    M (3,) [A/m] each in its own axes; `turn` (3, 3) and `shift` (3,) [m] carry the axes of `on`
    to the source's, in which force and torque are given. Balls of `on` are not counted.
    """
    out = np.empty(7)
    face_force(
        on.patches, on.spans, turn, shift, m,
        source.primitives, source.numbers, source.edges, source.size, source_m,
        on.size, np.empty((DEEP, 4)), np.empty((9, 6)), np.empty((9, 2)), np.empty(2), out,
    )  # fmt: skip
    out *= MU_0
    return out[:3], out[3:6], float(out[6])
