"""The camera: a fixed three-quarter view that holds everything that moves, found in closed form.

A point with camera coordinates (x right, y up, z toward the viewer) lies inside the picture's right
edge when x - cx <= a (cz - z), a the tangent of the half angle on that side. For a fixed direction
of view each side is linear in the eye (cx, cy, cz), so the nearest eye that satisfies all four
follows from four maxima; nothing is iterated. Lengths in m, pixels from the picture's top left.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from snapsim.arrays import Array

FIELD_OF_VIEW = 20.0  # degrees across the shorter side: little perspective, shapes stay true
ELEVATIONS = (14.0, 26.0)
AZIMUTHS = (-62.0, -118.0, -38.0, -142.0, -80.0, 62.0, 118.0)


@dataclass(frozen=True)
class Margins:
    """Shares of the picture kept free for text at its left, right, top and bottom."""

    left: float
    right: float
    top: float
    bottom: float


@dataclass(frozen=True)
class CameraView:
    """A pinhole camera: `eye` (3,); `axes` (3, 3), rows right, up, toward the viewer.

    `half` is the tangent of half the angle across (width, height); `size` the picture [pixels].
    """

    eye: Array
    axes: Array
    half: tuple[float, float]
    size: tuple[int, int]

    def coordinates(self, points: Array) -> Array:
        """Return camera coordinates (n, 3) of world points (n, 3); in front is z < 0."""
        seen: Array = (np.atleast_2d(points) - self.eye) @ self.axes.T
        return seen

    def project(self, points: Array) -> Array:
        """Return pixels (n, 2) from the top left."""
        x, y, z = self.coordinates(points).T
        w, h = self.size
        return np.column_stack(
            [
                w / 2 * (1 + x / (-z * self.half[0])),
                h / 2 * (1 - y / (-z * self.half[1])),
            ]
        )

    def pixels_per_metre(self, point: Array) -> float:
        """Return the scale at the depth of a world point (3,)."""
        depth = -float(self.coordinates(point)[0, 2])
        return self.size[0] / (2 * self.half[0] * depth)


def axes_of(azimuth: float, elevation: float) -> Array:
    """Return rows right, up, back for a viewer at `azimuth` (from +x) and `elevation` [deg]."""
    a, e = np.radians([azimuth, elevation])
    back = np.array([np.cos(e) * np.cos(a), np.cos(e) * np.sin(a), np.sin(e)])
    right = np.array([-np.sin(a), np.cos(a), 0.0])
    return np.stack([right, np.cross(back, right), back])


def fit(points: Array, axes: Array, size: tuple[int, int], margins: Margins) -> CameraView:
    """Return the nearest view along `axes` with all world `points` (n, 3) inside the margins."""
    width, height = size
    tangent = np.tan(np.radians(FIELD_OF_VIEW / 2))
    half = (tangent * max(1.0, width / height), tangent * max(1.0, height / width))
    x, y, z = (points @ axes.T).T
    cx, near_x = _slab(x, z, half[0] * (1 - 2 * margins.left), half[0] * (1 - 2 * margins.right))
    cy, near_y = _slab(y, z, half[1] * (1 - 2 * margins.bottom), half[1] * (1 - 2 * margins.top))
    cz = max(near_x, near_y)
    eye = np.array([cx(cz), cy(cz), cz]) @ axes
    return CameraView(eye, axes, half, size)


def _slab(x: Array, z: Array, low: float, high: float) -> tuple[Callable[[float], float], float]:
    """Return (eye coordinate as a function of depth, least depth) that keeps x inside."""
    a, b = float(np.max(x + high * z)), float(np.max(low * z - x))

    def centre(cz: float) -> float:
        return ((a - high * cz) + (low * cz - b)) / 2

    return centre, (a + b) / (low + high)


def choose_direction(samples: Array, obstacles: list[tuple[Array, Array, Array]]) -> Array:
    """Return the axes of the candidate view that hides the moving part least.

    `samples` (k, 3) are places of the moving part; `obstacles` are boxes (centre (3,), rotation
    (3, 3) body to world, half sizes (3,)). Sideways motion is best seen across the picture, so a
    view along the path costs; ties go to the first candidate.
    """
    best, best_cost = axes_of(AZIMUTHS[0], ELEVATIONS[0]), np.inf
    for i, elevation in enumerate(ELEVATIONS):
        for j, azimuth in enumerate(AZIMUTHS):
            axes = axes_of(azimuth, elevation)
            cost = disadvantage(axes, samples, obstacles) + 0.05 * i + 0.02 * j
            if cost < best_cost - 1e-9:
                best, best_cost = axes, cost
    return best


def disadvantage(axes: Array, samples: Array, obstacles: list[tuple[Array, Array, Array]]) -> float:
    """Return how badly places (k, 3) of a moving part are seen: hidden, or one behind another."""
    share = np.mean([hidden(p, axes[2], obstacles) for p in samples])
    deep = float(np.ptp((samples - samples.mean(axis=0)) @ axes[2]))
    return 4 * float(share) + 0.6 * deep / (float(np.ptp(samples, axis=0).max()) or 1.0)


def angles_of(axes: Array) -> tuple[float, float]:
    """Return azimuth and elevation [deg] of the rows right, up, back: the inverse of `axes_of`."""
    back = axes[2]
    azimuth = np.degrees(np.arctan2(back[1], back[0]))
    return float(azimuth), float(np.degrees(np.arcsin(np.clip(back[2], -1, 1))))


def hidden(point: Array, back: Array, obstacles: list[tuple[Array, Array, Array]]) -> float:
    """1 where a ray from `point` toward the viewer meets an obstacle's box, else 0 (slab test)."""
    for centre, rotation, half in obstacles:
        start, ray = rotation.T @ (point - centre), rotation.T @ back
        ray = np.where(np.abs(ray) < 1e-12, 1e-12, ray)
        t1, t2 = (-half - start) / ray, (half - start) / ray
        enter, leave = np.minimum(t1, t2).max(), np.maximum(t1, t2).min()
        if leave > max(enter, 0.0):
            return 1.0
    return 0.0


def depth_range(view: CameraView, points: Array) -> tuple[float, float]:
    """Return near and far distances [m] that hold all `points`, with room to spare."""
    depth = -view.coordinates(points)[:, 2]
    far = float(depth.max()) * 1.5
    near = 0.4 * float(depth[depth > 0].min())
    return max(near, far / 2000), far


def projection(view: CameraView, near: float, far: float, crop: tuple[int, int, int, int]) -> Array:
    """Return the OpenGL projection (4, 4) of the part `crop` = (left, top, right, bottom) [pixels].

    Perspective matrix as in the OpenGL 4.6 specification's appendix tradition (glFrustum), then a
    scale and shift in clip space that spreads the crop over the whole window.
    """
    w, h = view.size
    left, right = (2 * crop[0] / w - 1, 2 * crop[2] / w - 1)
    top, bottom = (1 - 2 * crop[1] / h, 1 - 2 * crop[3] / h)
    full = np.zeros((4, 4))
    full[0, 0], full[1, 1] = 1 / view.half[0], 1 / view.half[1]
    full[2, 2], full[2, 3] = (far + near) / (near - far), 2 * far * near / (near - far)
    full[3, 2] = -1.0
    window = np.eye(4)
    window[0, 0], window[0, 3] = 2 / (right - left), -(right + left) / (right - left)
    window[1, 1], window[1, 3] = 2 / (top - bottom), -(top + bottom) / (top - bottom)
    product: Array = window @ full
    return product


def crop_around(view: CameraView, points: Array, margin: int) -> tuple[int, int, int, int]:
    """Return the even-sided pixel rectangle (left, top, right, bottom) that holds `points`."""
    w, h = view.size
    low = np.floor(view.project(points).min(axis=0)).astype(int) - margin
    high = np.ceil(view.project(points).max(axis=0)).astype(int) + margin
    left, top = (int(np.clip(v, 0, m)) // 2 * 2 for v, m in zip(low, (w, h), strict=True))
    right, bottom = (-(-int(np.clip(v, 0, m)) // 2) * 2 for v, m in zip(high, (w, h), strict=True))
    return left, top, max(right, left + 2), max(bottom, top + 2)
