"""Uniformly magnetised compound: the sum of its members' fields, one magnetisation for all.

Exact outside as its members are; on the seam between two members a point counts as outside both.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from snapsim.arrays import Array
from snapsim.magnetics.sources.contract import FieldSource
from snapsim.parts.shapes import Piece


def joined(members: Sequence[Piece], sources: Sequence[FieldSource]) -> Array:
    """Return the packed members, laid out as `evaluation.local_field` reads them."""
    rows = [np.array([float(len(sources))])]
    for member, source in zip(members, sources, strict=True):
        head = [float(source.code), float(len(source.parameters))]
        rows += [np.array(head), member.turn.ravel(), member.position, source.parameters]
    return np.concatenate(rows)
