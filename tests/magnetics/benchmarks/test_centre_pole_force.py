"""Measured force on a saturating steel pole: TEAM Workshop problem 20.

Takahashi, Nakata & Morishige, COMPEL 14, 57 (1995); geometry, steel and measured values as printed
in public copies of the problem's definition (looked up; two copies agree). Not in them: the coil's
corner radius (taken as square) and the exact height of the measured sections (taken as half way
up, which reproduces the measured means). A yoke with window and slot, a pole over a gap of 1.5 mm,
a coil round the pole; mirror symmetric in x and y. The coil's field is that of nested current
sheets: a sheet round a box carries the current of a uniformly magnetised box (Ampere), whose B
magpylib has in closed form.

Found, extrapolated from 480 and 3 840 cells: force -4.3, +1.4, -0.3, -0.3 % off the measured one
at 1000, 3000, 4500, 5000 A, mean Bz -4.2, +1.9, -0.7, -0.3 %; on 3 840 cells alone the force is
11.7, 3.1, 1.7, 1.3 % short. What is left at 1000 A is mostly the cells: unsaturated steel needs a
hundredth of the field that its poles make, so that small errors of the demagnetising field count a
hundredfold, and this is a closed circuit, unlike a part in the open. An independent finite-element
solution of the same definition has +5, +2, +0.4, +0.5 %: that much is the definition (square coil
corners; 0.05 mm of the gap is 3 to 4 % of the force).
"""

from dataclasses import dataclass, replace
from functools import cache

import magpylib as magpy
import numpy as np
import pytest
from magpylib.core import magnet_cuboid_Bfield

from snapsim.arrays import Array
from snapsim.constants import MU_0
from snapsim.magnetics.anhysteretic import compiled_curves
from snapsim.magnetics.cells import extrapolated
from snapsim.magnetics.cells.contract import CellMesh
from snapsim.magnetics.cells.reflection import reflected
from snapsim.magnetics.cells.spacing import toward_both_ends, toward_end
from snapsim.magnetics.demagnetization import demagnetizing_operator
from snapsim.magnetics.magnetization import RELAXED, Minimum, Problem, minimise, uncoupled
from snapsim.magnetics.sources import magnet_set, source_for
from snapsim.magnetics.symmetric_blocks import buffer, layout
from snapsim.parts.materials.table import MATERIALS
from snapsim.parts.shapes import Box

MM = 1e-3
CURVE = MATERIALS["low-carbon steel"].curve
GRADING = 0.85
MEASURED = {1000: (8.1, 0.72), 3000: (54.4, 1.75), 4500: (75.0, 2.01), 5000: (80.1, 2.05)}
"""Force on the pole [N] and mean Bz in the pole [T], by ampere-turns."""

INNER, OUTER, BOTTOM, TOP = 39.0, 75.0, 26.7, 123.3
"""Coil [mm]: width of its hole and outside, its height."""
SHEETS = 12


def segments(*parts: tuple[float, float, Array]) -> Array:
    """Nodes [m] of successive stretches (from, to [mm], nodes on [0, 1])."""
    nodes = [a + (b - a) * u for a, b, u in parts]
    return MM * np.concatenate([nodes[0], *(x[1:] for x in nodes[1:])])


def lattice(x: Array, y: Array, z: Array, keep) -> tuple[Array, Array]:
    """Corners and cells of a brick lattice, those whose centre [mm] `keep` accepts."""
    number = np.arange(len(x) * len(y) * len(z)).reshape(len(x), len(y), len(z))
    corners = np.stack(np.meshgrid(x, y, z, indexing="ij"), axis=-1).reshape(-1, 3)
    a = [number[:-1, :-1], number[1:, :-1], number[1:, 1:], number[:-1, 1:]]
    cells = np.stack([b[:, :, :-1].ravel() for b in a] + [b[:, :, 1:].ravel() for b in a], axis=1)
    centre = corners[cells].mean(axis=1) / MM
    cells = cells[[bool(keep(*c)) for c in centre]]
    used, cells = np.unique(cells, return_inverse=True)
    return corners[used], cells.reshape(-1, 8)


def in_yoke(x: float, _y: float, z: float) -> bool:
    """Not in the window |x| < 38.5, 25 < z < 125, nor in the slot |x| < 13.5 above it."""
    return not ((x < 38.5 and 25 < z < 125) or (x < 13.5 and z > 125))


@dataclass(frozen=True)
class Rig:
    """Cells of yoke and pole; base cells of the pole are `pole` of the `base` ones."""

    mesh: CellMesh
    base: int
    pole: Array


COARSE = {"x": (2, 2, 2), "y": (1, 1), "z": (4, 4, 2), "pole": (2, 1, 20)}
"""Cells of the coarse mesh: yoke along x in the floor's three stretches, y, z of floor, leg and
top; pole along x, y, z. The flux leaks out along the pole, which takes most of them."""


def rig(n: int) -> Rig:
    """Quarter of yoke and pole, n times the cells of `COARSE` along each direction."""
    (x1, x2, x3), (y1, y2), (z1, z2, z3) = COARSE["x"], COARSE["y"], COARSE["z"]
    yoke = lattice(
        segments((0, 13.5, end(n * x1)), (13.5, 38.5, both(n * x2)), (38.5, 63.5, both(n * x3))),
        segments((0, 5, end(n * y1)), (5, 12.5, end(n * y2))),
        segments((0, 25, end(n * z1)), (25, 125, both(n * z2)), (125, 150, both(n * z3))),
        in_yoke,
    )
    p1, p2, p3 = (n * k for k in COARSE["pole"])
    pole = lattice(
        segments((0, 12.5, end(p1))),
        segments((0, 5, end(p2))),
        segments((26.5, 125, both(p3))),
        lambda *_: True,
    )
    corners = np.concatenate([yoke[0], pole[0]])
    cells = np.concatenate([yoke[1], pole[1] + len(yoke[0])])
    mesh = reflected(corners, cells, (0, 1))
    return Rig(mesh, len(cells), np.arange(len(cells)) >= len(yoke[1]))


def end(n: int) -> Array:
    """Nodes on [0, 1] crowded toward 1."""
    return toward_end(n, GRADING)


def both(n: int) -> Array:
    """Nodes on [0, 1] crowded toward both ends."""
    return toward_both_ends(n, GRADING)


def coil_field(points: Array) -> Array:
    """H (k, 3) [A/m] of one ampere-turn at points (k, 3) [m]."""
    height = (TOP - BOTTOM) * MM
    centre = np.array([0, 0, (TOP + BOTTOM) / 2 * MM])
    total = np.zeros_like(points)
    for k in range(SHEETS):
        width = (INNER + (OUTER - INNER) * (k + 0.5) / SHEETS) * MM
        total += magnet_cuboid_Bfield(
            points - centre,
            np.tile([width, width, height], (len(points), 1)),
            np.tile([0.0, 0.0, MU_0 / (height * SHEETS)], (len(points), 1)),
        )
    return total / MU_0


def load(parts: Rig) -> Array:
    """Volume times the mean field of one ampere-turn (c, 3) [A m^2]."""
    mesh = parts.mesh
    h = coil_field(mesh.points.reshape(-1, 3)).reshape(mesh.points.shape)
    return mesh.volume[:, None] * np.einsum("cq,cqi->ci", mesh.weights, h)


def solve(parts: Rig, loads: dict[int, Array]) -> dict[int, Minimum]:
    """Magnetisation at each number of ampere-turns."""
    mesh = parts.mesh
    operator = demagnetizing_operator(mesh)
    assert CURVE is not None
    curves = compiled_curves([CURVE])
    chi = float(curves.susceptibility[0])
    problem = Problem(
        where=layout([len(operator.volume)], [operator.flips]),
        curves=curves,
        body=np.zeros(len(mesh.volume), np.int64),
        volume=mesh.volume,
        slope=np.full(len(mesh.volume), 1 / chi),
        demagnetising=buffer([operator.blocks]),
        rough=buffer([operator.blocks], np.float32),
        shifted=buffer([operator.shifted_inverse(chi)]),
        relaxed=buffer([operator.shifted_inverse(min(chi, RELAXED))], np.float32),
    )
    found = {}
    for turns, load in loads.items():
        cold = np.zeros_like(load)
        found[turns] = Minimum(*minimise(problem, uncoupled(), load, cold, cold, 1e-8, 4000))
        assert found[turns].converged
    return found


def yoke_field(parts: Rig, m: Array, points: Array) -> Array:
    """Hz (k,) [A/m] of the yoke's cells at points (k, 3) outside it."""
    yoke = np.flatnonzero(np.tile(~parts.pole, 4))
    size = np.ptp(parts.mesh.corners[parts.mesh.cells[yoke]], axis=1)
    bricks = magnet_set([source_for(Box(tuple(s))) for s in size.tolist()], m[yoke])
    upright = np.tile([1.0, 0.0, 0.0, 0.0], (len(yoke), 1))
    return bricks.field_and_gradient(parts.mesh.centre[yoke], upright, points)[0][:, 2]


def force_on_pole(parts: Rig, m: Array, turns: float) -> float:
    """Fz [N]: mu_0 times the charges M.n on the faces of the pole's cells in the field of all else.

    The exact gradient of the energy for cells of constant M. Faces of one quarter, 3 x 3 Gauss
    points, 6 x 6 near the gap; a face between two cells carries the jump, one on a mirror plane the
    half of it that belongs to this quarter.
    """
    base = np.flatnonzero(parts.pole)
    corners = parts.mesh.corners[parts.mesh.cells[base]]
    low, high = corners.min(axis=1), corners.max(axis=1)
    charge: dict[tuple[float, ...], float] = {}
    for i, cell in enumerate(base):
        for axis in range(3):
            for side, sign in ((low[i], -1.0), (high[i], 1.0)):
                a, b = low[i].copy(), high[i].copy()
                a[axis] = b[axis] = side[axis]
                key = (*np.round(a, 9).tolist(), *np.round(b, 9).tolist())
                charge[key] = charge.get(key, 0.0) + sign * m[cell, axis]
    points, weights = [], []
    for key, sigma in charge.items():
        p, w = on_face(np.array(key[:3]), np.array(key[3:]))
        points.append(p)
        weights.append(sigma * w)
    at, carry = np.concatenate(points), np.concatenate(weights)
    field = turns * coil_field(at)[:, 2] + yoke_field(parts, m, at)
    return 4 * MU_0 * float(carry @ field)


def on_face(low: Array, high: Array) -> tuple[Array, Array]:
    """Gauss points (q, 3) and weights (q,) [m^2] of a rectangle."""
    axis = int(np.argmin(high - low))
    u, w = np.polynomial.legendre.leggauss(6 if low[2] < 30 * MM else 3)
    others = [a for a in range(3) if a != axis]
    grid = np.meshgrid(u, u, indexing="ij")
    points = np.tile(low, (len(u) ** 2, 1))
    for a, g in zip(others, grid, strict=True):
        points[:, a] += (high[a] - low[a]) * (g.ravel() + 1) / 2
    area = np.prod((high - low)[others])
    return points, np.outer(w, w).ravel() / 4 * area


def mean_flux_density(parts: Rig, found: Minimum) -> float:
    """Mean Bz [T] over the pole's section at half height, z = 75 mm."""
    corners = parts.mesh.corners[parts.mesh.cells[: parts.base]][..., 2]
    low, high = corners.min(axis=1), corners.max(axis=1)
    here = np.flatnonzero(parts.pole & (low <= 75.001 * MM) & (high > 75.001 * MM))
    b = MU_0 * (found.h[here, 2] + found.m[here, 2])
    area = parts.mesh.volume[here] / (high - low)[here]
    return float(b @ area / area.sum())


@cache
def solved(n: int) -> tuple[int, dict[int, tuple[float, float]]]:
    """Cells, and force [N] and mean Bz [T] by ampere-turns."""
    parts = rig(n)
    one = load(parts)
    states = solve(parts, {turns: turns * one for turns in MEASURED})
    return len(one), {
        turns: (force_on_pole(parts, s.m, turns), mean_flux_density(parts, s))
        for turns, s in states.items()
    }


@cache
def limits() -> dict[int, tuple[float, float]]:
    """Force [N] and mean Bz [T] by ampere-turns, extrapolated to vanishing cells."""
    coarse, fine = solved(1)[1], solved(2)[1]
    return {k: tuple(extrapolated(np.array(coarse[k]), np.array(fine[k]))) for k in MEASURED}


def test_the_coils_sheets_are_as_good_as_filaments() -> None:
    # square loops of wire across the winding, magpylib's closed form; the sheets miss only the
    # winding's build, which both divide
    loops = []
    for k in range(SHEETS):
        half = (INNER + (OUTER - INNER) * (k + 0.5) / SHEETS) / 2 * MM
        corners = half * np.array([[1, 1], [-1, 1], [-1, -1], [1, -1], [1, 1]])
        for z in np.linspace(BOTTOM, TOP, 129)[1::2] * MM:
            vertices = np.column_stack([corners, np.full(5, z)])
            loops.append(magpy.current.Polyline(current=1 / (64 * SHEETS), vertices=vertices))
    points = MM * np.array([[0, 0, 75], [10, 4, 30], [12.5, 5, 120], [45, 3, 60], [5, 2, 12]])
    wire = magpy.getH(loops, points, sumup=True)
    np.testing.assert_allclose(coil_field(points), wire, rtol=2e-4, atol=2e-4 * np.abs(wire).max())
    # in the middle of a long coil NI / length (any text); this one is 1.7 times as long as wide
    assert 0.8 < coil_field(points[:1])[0, 2] * (TOP - BOTTOM) * MM < 1.0


def moved(parts: Rig, rise: float) -> Rig:
    """The rig with its pole `rise` [m] higher."""
    mesh, pole = parts.mesh, np.tile(parts.pole, 4)
    corners, centre, points = mesh.corners.copy(), mesh.centre.copy(), mesh.points.copy()
    corners[np.unique(mesh.cells[pole]), 2] += rise
    centre[pole, 2] += rise
    points[pole, :, 2] += rise
    return Rig(replace(mesh, corners=corners, centre=centre, points=points), parts.base, parts.pole)


def test_the_force_is_the_slope_of_the_energy() -> None:
    # both magnetised anew 0.1 mm up and down; the coil's field is averaged by four points a cell in
    # the energy and by Gauss points on faces in the force
    turns, step = 3000, 1e-4
    energy = [
        MU_0 * solve(p, {turns: turns * load(p)})[turns].energy
        for p in (moved(rig(1), step), moved(rig(1), -step))
    ]
    assert solved(1)[1][turns][0] == pytest.approx((energy[1] - energy[0]) / (2 * step), rel=5e-3)


@pytest.mark.slow
@pytest.mark.parametrize(
    ("turns", "within"), [(1000, 0.08), (3000, 0.05), (4500, 0.05), (5000, 0.05)]
)
def test_the_force_on_the_pole_is_the_measured_one(turns: int, within: float) -> None:
    found, expected = limits()[turns][0], MEASURED[turns][0]
    assert found < 0  # down, into the gap
    assert abs(found) == pytest.approx(expected, rel=within)


@pytest.mark.slow
@pytest.mark.parametrize("turns", sorted(MEASURED))
def test_the_flux_density_in_the_pole_is_the_measured_one(turns: int) -> None:
    # 5 %, as the height of the measured section is not known
    assert limits()[turns][1] == pytest.approx(MEASURED[turns][1], rel=0.05)


@pytest.mark.slow
def test_the_steel_is_far_into_saturation() -> None:
    # five times the current, not twenty-five times the force
    forces = {k: v[0] for k, v in limits().items()}
    assert 9 < forces[5000] / forces[1000] < 12
