"""Outlines of bodies as the camera sees them: where front faces meet faces turned away."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from snapsim.arrays import Array, BoolArray, IntArray
from snapsim.footage.course import Course
from snapsim.footage.views import FootageView
from snapsim.parts.bodies import Body

FINENESS = 48


@dataclass(frozen=True)
class PixelOutline:
    """`faces` (f, 3, 2) that look at the camera and `edges` (e, 2, 2) round them, in pixels."""

    faces: Array
    edges: Array


def outline(course: Course, view: FootageView, body: Body, time: float) -> PixelOutline:
    """Return the outline of a body at a time after release; nothing of what is behind the camera.

    A picture is mirrored where y counts downward, so front faces turn the other way round there.
    """
    corners, triangles = body.shape.surface(FINENESS)
    seen = view.project(course.points(body.name, corners, time))
    face = seen[triangles]
    first, second = face[:, 1] - face[:, 0], face[:, 2] - face[:, 0]
    area = first[:, 0] * second[:, 1] - first[:, 1] * second[:, 0]
    front = (-area if view.down else area) > 0
    return PixelOutline(face[front], seen[_rim(triangles, front)])


def _rim(triangles: IntArray, front: BoolArray) -> IntArray:
    """Edges (e, 2) of front faces whose other face is no front face."""
    edges = triangles[front][:, [[0, 1], [1, 2], [2, 0]]].reshape(-1, 2)
    plain, count = np.unique(np.sort(edges, axis=1), axis=0, return_counts=True)
    return np.asarray(plain[count == 1])
