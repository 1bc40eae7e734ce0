"""Several solids rigidly joined, of one material.

Members stand in the author's own frame; the body's origin is put at their common centre of volume
(`drawn_centre` says where that is in the frame). Members must not overlap: their volumes add up.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import ClassVar

import numpy as np

from snapsim.arrays import Array, IntArray
from snapsim.parts.shapes import symmetry
from snapsim.parts.shapes.contract import Revolution, Shape
from snapsim.parts.shapes.pieces import Piece, pieces_of


@dataclass(frozen=True, eq=False)
class Compound(Shape):
    """The union of `drawn`, solids placed in the author's frame."""

    kind: ClassVar[str] = "compound"
    drawn: tuple[Piece, ...]

    @cached_property
    def volume(self) -> float:
        """Volume [m^3]."""
        return sum(m.shape.volume for m in self.drawn)

    @cached_property
    def drawn_centre(self) -> Array:
        """Centre of mass (3,) [m] in the author's frame."""
        total = sum((m.shape.volume * m.position for m in self.drawn), np.zeros(3))
        return np.asarray(total / self.volume)

    @cached_property
    def members(self) -> tuple[Piece, ...]:
        """The members placed in body axes."""
        centre = self.drawn_centre
        return tuple(Piece(m.shape, m.position - centre, m.turn) for m in self.drawn)

    @cached_property
    def gyration(self) -> Array:
        """Inertia tensor per mass (3, 3) [m^2]: members turned, and moved by Steiner's theorem."""
        total = np.zeros((3, 3))
        for m in self.members:
            own = m.turn @ m.shape.gyration @ m.turn.T
            r = m.position
            total += m.shape.volume * (own + (r @ r) * np.eye(3) - np.outer(r, r))
        return total / self.volume

    @cached_property
    def extents(self) -> Array:
        """Half sizes (3,) [m] of a box about the origin that holds it."""
        reach = [np.abs(m.turn) @ m.shape.extents + np.abs(m.position) for m in self.members]
        return np.asarray(np.max(reach, axis=0))

    @cached_property
    def pieces(self) -> tuple[Piece, ...]:
        """The simple solids of all members, in body axes."""
        return tuple(
            Piece(p.shape, m.turn @ p.position + m.position, m.turn @ p.turn)
            for m in self.members
            for p in pieces_of(m.shape)
        )

    @cached_property
    def revolution(self) -> Revolution:
        """Any turn about body z where every member lies about that axis."""
        return Revolution.AXIS if all(map(_about_z, self.members)) else Revolution.NONE

    @cached_property
    def symmetries(self) -> list[Array]:
        """Those of the axes that take every member to one like it."""
        return [s for s in symmetry.signed_axes() if all(self._has(m, s) for m in self.members)]

    def _has(self, member: Piece, operation: Array) -> bool:
        """Is there a member where the operation puts this one?"""
        place, near = operation @ member.position, symmetry.SAME * float(self.extents.max())
        return any(
            np.linalg.norm(m.position - place) <= near
            and _alike(m, member, m.turn.T @ operation @ member.turn)
            for m in self.members
        )

    @property
    def remarks(self) -> list[str]:
        """Those of its members."""
        return [remark for m in self.members for remark in m.shape.remarks]

    @property
    def problems(self) -> list[tuple[str, str]]:
        """What is wrong with the members' numbers; empty when sound."""
        return [
            (f"members[{k}].shape.{field}", text)
            for k, m in enumerate(self.drawn, start=1)
            for field, text in m.shape.problems
        ]

    def surface(self, fineness: int) -> tuple[Array, IntArray]:
        """Return the members' closed triangulations, one after another."""
        corners, triangles, count = [], [], 0
        for m in self.members:
            own, loops = m.shape.surface(fineness)
            corners.append(own @ m.turn.T + m.position)
            triangles.append(loops + count)
            count += len(own)
        return np.concatenate(corners), np.concatenate(triangles)


def _about_z(member: Piece) -> bool:
    """Does a turn about body z leave a member as it is?"""
    if np.hypot(*member.position[:2]) > symmetry.SAME * float(member.shape.extents.max()):
        return False
    upright = abs(abs(member.turn[2, 2]) - 1) <= symmetry.SAME
    turns = member.shape.revolution
    return turns is Revolution.CENTRE or (turns is Revolution.AXIS and upright)


def _alike(one: Piece, other: Piece, turn: Array) -> bool:
    """Is a member's shape another's, turned within its axes by one of its symmetries?"""
    if one.shape is not other.shape and one.shape != other.shape:
        return False
    return one.shape.revolution is Revolution.CENTRE or any(
        np.allclose(turn, s, atol=symmetry.SAME) for s in one.shape.symmetries
    )
