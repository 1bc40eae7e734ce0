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
from snapsim.parts.shapes.contract import Outline
from snapsim.parts.shapes.pieces import Piece, pieces_of


@dataclass(frozen=True, eq=False)
class Compound:
    """The union of `drawn`, solids placed in the author's frame."""

    kind: ClassVar[str] = "compound"
    drawn: tuple[Piece, ...]

    @property
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

    @property
    def gyration(self) -> Array:
        """Inertia tensor per mass (3, 3) [m^2]: members turned, and moved by Steiner's theorem."""
        total = np.zeros((3, 3))
        for m in self.members:
            own = m.turn @ m.shape.gyration @ m.turn.T
            r = m.position
            total += m.shape.volume * (own + (r @ r) * np.eye(3) - np.outer(r, r))
        return total / self.volume

    @property
    def extents(self) -> Array:
        """Half sizes (3,) [m] of a box about the origin that holds it."""
        reach = [np.abs(m.turn) @ m.shape.extents + np.abs(m.position) for m in self.members]
        return np.asarray(np.max(reach, axis=0))

    @property
    def outline(self) -> Outline | None:
        """None: not an extrusion."""
        return None

    @cached_property
    def pieces(self) -> tuple[Piece, ...]:
        """The simple solids of all members, in body axes."""
        return tuple(
            Piece(p.shape, m.turn @ p.position + m.position, m.turn @ p.turn)
            for m in self.members
            for p in pieces_of(m.shape)
        )

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
