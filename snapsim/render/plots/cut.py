"""Bodies cut by a plane: the outlines that section plots draw.

The closed surface of a shape, cut triangle by triangle by the plane through a world point along two
world axes; the segments are joined to loops. Drawn with the even-odd rule, so bores stay open.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from snapsim.arrays import Array
from snapsim.numerics import rotations
from snapsim.parts.bodies import Body

if TYPE_CHECKING:
    from matplotlib.axes import Axes

FINENESS = 96


@dataclass(frozen=True)
class CutPlane:
    """The world plane through `point` (3,) [m] along world axes `first` and `second` (0, 1, 2)."""

    point: Array
    first: int
    second: int

    @property
    def normal(self) -> int:
        """The world axis across it."""
        return 3 - self.first - self.second

    def place(self, u: Array, v: Array) -> Array:
        """Return world points (..., 3) at plane coordinates u, v (...) [m], world values."""
        points = np.empty((*u.shape, 3))
        points[..., self.first], points[..., self.second] = u, v
        points[..., self.normal] = self.point[self.normal]
        return points


def loops(body: Body, position: Array, quaternion: Array, plane: CutPlane) -> list[Array]:
    """Return the closed outlines (k, 2) [m], world values along the plane's two axes."""
    drawn, triangles = body.shape.surface(FINENESS)
    world = position + rotations.rotate(quaternion[None], drawn)
    # A hair off the plane, so that no corner lies in it.
    height = world[:, plane.normal] - plane.point[plane.normal] + 1e-9
    flat = world[:, [plane.first, plane.second]]
    segments = []
    for corner in triangles:
        above = height[corner] > 0
        if above.all() or not above.any():
            continue
        ends = [
            _crossing(flat, height, int(corner[k - 1]), int(corner[k]))
            for k in range(3)
            if above[k - 1] != above[k]
        ]
        segments.append(ends)
    return _joined(segments)


def _crossing(flat: Array, height: Array, a: int, b: int) -> tuple[tuple[int, int], Array]:
    """The edge (low number first) and where it meets the plane."""
    a, b = min(a, b), max(a, b)
    share = height[a] / (height[a] - height[b])
    return (a, b), flat[a] + share * (flat[b] - flat[a])


def _joined(segments: list[list[tuple[tuple[int, int], Array]]]) -> list[Array]:
    """Chain segments that share an edge of the surface."""
    ends: dict[tuple[int, int], list[int]] = {}
    for k, pair in enumerate(segments):
        for edge, _point in pair:
            ends.setdefault(edge, []).append(k)
    left, found = set(range(len(segments))), []
    while left:
        k = left.pop()
        (_edge, point), (edge, other) = segments[k]
        chain = [point, other]
        while True:
            following = [m for m in ends[edge] if m in left]
            if not following:
                break
            k = following[0]
            left.discard(k)
            one, two = segments[k]
            edge, point = two if one[0] == edge else one
            chain.append(point)
        found.append(np.array(chain))
    return found


def draw_outlines(
    axes: Axes, outlines: list[Array], face: str | None, edge: str, width: float = 1.6
) -> None:
    """Draw the loops [mm], filled by the even-odd rule where `face` is a colour."""
    from matplotlib.patches import PathPatch
    from matplotlib.path import Path

    if not outlines:
        return
    outlines = [_wound(loop, outlines) for loop in outlines]
    points = np.concatenate([1e3 * np.vstack([loop, loop[:1]]) for loop in outlines])
    codes = np.concatenate(
        [[Path.MOVETO] + [Path.LINETO] * (len(loop) - 1) + [Path.CLOSEPOLY] for loop in outlines]
    )
    path = Path(points, codes.astype(np.uint8))
    axes.add_patch(
        PathPatch(path, facecolor=face or "none", edgecolor=edge, lw=width, zorder=3 if face else 4)
    )


def _wound(loop: Array, outlines: list[Array]) -> Array:
    """The loop counter-clockwise, or clockwise where it bounds a hole: winding fills are even."""
    from matplotlib.path import Path

    around = sum(Path(o).contains_point(loop[0]) for o in outlines if o is not loop)
    x, y = loop.T
    area = float(np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y))
    return loop if (area > 0) == (around % 2 == 0) else loop[::-1]
