"""A magnet's surface, told apart by pole: cut in half, hatched on the south half, lettered.

The magnetisation points from the south to the north half (IEC 60050-121, term 121-11-52 ff.; from
memory); the cut is the plane through the centre square to it. The hatch runs obliquely to every
face of a block, so that it shows on pole faces and sides alike. A letter is a flat outline thrown
onto the surface along a direction, so it lies on flat faces and wraps round curved ones.
"""

from __future__ import annotations

import numpy as np
import pyvista as pv
from matplotlib.font_manager import FontProperties
from matplotlib.textpath import TextPath

from snapsim.arrays import Array, BoolArray, IntArray
from snapsim.render.typeface import font_path

SMOOTH_ANGLE = 30.0  # degrees; sharper edges than this stay sharp


def poly(corners: Array, triangles: IntArray) -> pv.PolyData:
    """Return a mesh of triangles."""
    return pv.PolyData(corners, np.column_stack([np.full(len(triangles), 3), triangles]).ravel())


def shaded(mesh: pv.PolyData) -> pv.PolyData:
    """Return the mesh with normals: smooth over curved walls, sharp at edges."""
    smooth: pv.PolyData = mesh.compute_normals(
        split_vertices=True,
        feature_angle=SMOOTH_ANGLE,
        consistent_normals=False,
        auto_orient_normals=False,
    )
    return smooth


def halves(corners: Array, triangles: IntArray, direction: Array) -> tuple[pv.PolyData, ...]:
    """Return the north and the south half; `direction` (3,) is the unit magnetisation."""
    mesh = poly(corners, triangles)
    sides = (mesh.clip(normal=tuple(sign * direction), origin=(0, 0, 0)) for sign in (-1, 1))
    return tuple(shaded(side.triangulate()) for side in sides)  # clipping merges sharp edges


def hatch_period(extents: Array) -> float:
    """Return a distance between stripes [m] that suits a magnet of half sizes (3,)."""
    return float(np.clip(0.6 * extents.min(), extents.max() / 7, extents.max() / 3))


def hatched(south: pv.PolyData, direction: Array, period: float) -> tuple[pv.PolyData, pv.PolyData]:
    """Return the south half in two: its ground and its stripes, `period` [m] apart."""
    across, over = side_axes(direction)
    slant = direction + 0.8 * across + 0.45 * over
    south = south.copy()
    south["hatch"] = south.points @ slant / (np.linalg.norm(slant) * period / 3)
    low = int(np.floor(south["hatch"].min()))
    high = int(np.ceil(south["hatch"].max()))
    banded = south.contour_banded(
        high - low + 1,
        rng=(low, high),
        scalars="hatch",
        scalar_mode="index",
        generate_contour_edges=False,
    )
    stripe = np.round(banded.cell_data["Scalars"]).astype(int) % 3 == 0
    return _cells(banded, ~stripe), _cells(banded, stripe)


def _cells(mesh: pv.PolyData, chosen: BoolArray) -> pv.PolyData:
    part = mesh.extract_cells(np.flatnonzero(chosen).tolist()).extract_surface(algorithm=None)
    return shaded(part.triangulate())  # banding mixed the normals at edges


def side_axes(direction: Array) -> tuple[Array, Array]:
    """Return two unit vectors square to `direction` and to each other."""
    least = np.eye(3)[int(np.argmin(np.abs(direction)))]
    first = np.cross(direction, least)
    first /= np.linalg.norm(first)
    return first, np.cross(direction, first)


def letter_outline(letter: str) -> pv.PolyData:
    """Return a flat letter of height 1, centred on the origin, in small triangles."""
    path = TextPath((0, 0), letter, size=1.0, prop=FontProperties(fname=font_path(True)))
    loop = np.asarray(path.to_polygons(closed_only=True)[0], dtype=np.float64)[:-1]
    loop = loop - (loop.min(axis=0) + loop.max(axis=0)) / 2
    loop = loop / np.ptp(loop[:, 1])
    turned = np.roll(loop, -1, axis=0)
    if np.sum(loop[:, 0] * turned[:, 1] - loop[:, 1] * turned[:, 0]) < 0:
        loop = loop[::-1]  # counter-clockwise, so that it faces the viewer
    flat = pv.PolyData(
        np.column_stack([loop, np.zeros(len(loop))]), np.r_[len(loop), np.arange(len(loop))]
    ).triangulate()
    fine: pv.PolyData = flat.subdivide_adaptive(max_edge_len=0.15, max_n_passes=4)
    return fine


def badge_outline() -> pv.PolyData:
    """Return a flat disc of diameter 1.5, the ground under a letter on the hatch."""
    disc: pv.PolyData = pv.Disc(inner=0.0, outer=0.78, r_res=6, c_res=40).triangulate()
    return disc


def place_letters(
    half: pv.PolyData, direction: Array, up: Array, flats: list[pv.PolyData]
) -> list[list[pv.PolyData]]:
    """Return the `flats` laid on the half's pole face and four sides, one list a flat.

    `direction` points from the magnet's centre to the half's pole face, `up` is how letters stand.
    """
    placed: list[list[pv.PolyData]] = [[] for _ in flats]
    first, second = side_axes(direction)
    for normal in (direction, first, -first, second, -second):
        spot = _find_spot(half, normal, up)
        if spot is None:
            continue
        for kept, flat, lift in zip(placed, flats, (1.0, 2.0), strict=False):
            kept.append(_throw(half, flat, spot, lift))
    return placed


def _find_spot(half: pv.PolyData, normal: Array, up: Array) -> tuple[Array, Array, float] | None:
    """Return (centre, rows right-up-normal, letter height) of the largest place that is even."""
    right = np.cross(up, normal)
    if np.linalg.norm(right) < 0.3:
        right = side_axes(normal)[0]
    right /= np.linalg.norm(right)
    frame = np.stack([right, np.cross(normal, right), normal])
    seen = half.points @ frame.T
    low, high = seen.min(axis=0), seen.max(axis=0)
    middle, size = (low + high)[:2] / 2, high - low
    rim = np.pi / 8 * np.arange(16)
    ring = 0.78 * np.column_stack([np.cos(rim), np.sin(rim)])
    for share in (0.58, 0.42, 0.3, 0.2):
        height = share * float(min(size[0], size[1]))
        for shift in ((0, 0), (0, -0.36), (0.36, 0), (-0.36, 0)):
            at = middle + np.array(shift) * size[:2]
            depth = cast(half, frame, np.vstack([at, at + height * ring]))
            if np.all(np.isfinite(depth)) and np.ptp(depth) < 1.2 * height:
                return at, frame, height
    return None


def _throw(
    half: pv.PolyData, flat: pv.PolyData, spot: tuple[Array, Array, float], lift: float
) -> pv.PolyData:
    """Lay a flat on the surface, a hair above it."""
    at, frame, height = spot
    plane = at + height * flat.points[:, :2]
    depth = cast(half, frame, plane)
    depth = np.where(np.isfinite(depth), depth, np.nanmax(depth[np.isfinite(depth)]))
    laid = flat.copy()
    laid.points = np.column_stack([plane, depth + 0.006 * lift * height]) @ frame
    lit: pv.PolyData = laid.compute_normals(consistent_normals=False, auto_orient_normals=False)
    return lit


def cast(mesh: pv.PolyData, frame: Array, plane: Array) -> Array:
    """Return the greatest depth along frame[2] at each plane point (n, 2), -inf where none is."""
    corners = (mesh.points @ frame.T)[mesh.regular_faces]
    a, b, c = corners[:, 0], corners[:, 1], corners[:, 2]
    u, v = (b - a)[:, :2], (c - a)[:, :2]
    area = u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0]
    facing = np.abs(area) > 1e-9 * np.max(np.abs(area))
    a, b, c, u, v, area = a[facing], b[facing], c[facing], u[facing], v[facing], area[facing]
    w = plane[:, None] - a[None, :, :2]
    s = (w[..., 0] * v[:, 1] - w[..., 1] * v[:, 0]) / area
    t = (u[:, 0] * w[..., 1] - u[:, 1] * w[..., 0]) / area
    inside = (s >= -1e-9) & (t >= -1e-9) & (s + t <= 1 + 1e-9)
    depth = a[:, 2] + s * (b - a)[:, 2] + t * (c - a)[:, 2]
    found: Array = np.where(inside, depth, -np.inf).max(axis=1)
    return found
