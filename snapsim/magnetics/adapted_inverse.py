"""The inverse of parts' second derivative as they answer now, to go before Newton's steps.

The stored inverse of a part (`flux_part`) is that of unsaturated iron. Where cells saturate, M
answers to the flux by less, and conjugate gradients behind that inverse take tens to hundreds of
products. With A the answer dM/dbeta of each cell (c, 3, 3), the second derivative is

    K = K_0 - sum over cells of  S^T A S / v,        S = v T + R X,

K_0 what does not depend on M. Of a small part K is inverted as it is. Of a larger one A is averaged
over the mirror images of a cell first, so that K falls apart into the mirror classes. Only the cost
rests on it, neither the least energy nor its bound. Source: as for `flux_part`; a mean over a group
commutes with it (Schur's lemma).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from snapsim.arrays import Array, IntArray
from snapsim.magnetics.flux_part import FluxPart, inverse_of
from snapsim.magnetics.flux_product import FluxPoint, FluxSet
from snapsim.magnetics.symmetric_blocks import Buffer

PATIENCE: Final = 12
"""Products in one of Newton's steps from which on a new inverse pays: it costs as much as ten."""

SMALL: Final = 1000
"""Unknowns of a part up to which its images are told apart (some 400 cells, 0.1 s)."""


@dataclass(frozen=True)
class AdaptedInverse:
    """What takes the place of these in `FluxSet`, and the `products` of a step from which on it is
    worth making anew."""

    inverse: Buffer
    inverse_at: IntArray
    class_at: IntArray
    products: int

    def instead(self, packed: FluxSet) -> FluxSet:
        """Return the parts with this inverse."""
        return packed._replace(
            inverse=self.inverse, inverse_at=self.inverse_at, class_at=self.class_at
        )


def adapted(parts: Sequence[FluxPart], packed: FluxSet, at: FluxPoint) -> AdaptedInverse:
    """Return the inverses of all parts as they answer at a point."""
    found, filled = [], 0
    inverse_at, class_at = np.zeros_like(packed.inverse_at), packed.class_at.copy()
    for i, part in enumerate(parts):
        here = slice(packed.cell[i], packed.cell[i + 1])
        answer = _answers(at.beta[here], at.along[here], at.across[here])
        if part.starts[-1] <= SMALL:
            blocks = [_whole(part, answer)]
            class_at[i, 1:] = packed.unknown[i + 1]
        else:
            mean = _mean_of_images(part, answer)
            blocks = [inverse_of(c.second(mean)) for c in part.curvatures]
        for k in range(inverse_at.shape[1]):
            inverse_at[i, k] = filled
            if k < len(blocks):
                found.append(blocks[k].astype(np.float32).ravel())
                filled += found[-1].size
    return AdaptedInverse(np.concatenate(found), inverse_at, class_at, PATIENCE)


def _answers(beta: Array, along: Array, across: Array) -> Array:
    """dM/dbeta (c, 3, 3) of cells."""
    square = np.maximum(np.einsum("ci,ci->c", beta, beta), np.finfo(float).tiny)
    radial: Array = ((along - across) / square)[:, None, None] * beta[:, :, None] * beta[:, None]
    return radial + across[:, None, None] * np.eye(3)


def _mean_of_images(part: FluxPart, answer: Array) -> Array:
    """The mean over images (b, 3, 3), each mirrored back."""
    g = len(part.signs)
    mirrored: Array = np.einsum(
        "kbij,ki,kj->bij", answer.reshape(g, -1, 3, 3), part.signs, part.signs
    )
    return mirrored / g


def _whole(part: FluxPart, answer: Array) -> Array:
    """Inverse (n, n) of all classes together."""
    total = np.zeros((part.starts[-1], part.starts[-1]))
    for c, first, last in zip(part.curvatures, part.starts[:-1], part.starts[1:], strict=True):
        total[first:last, first:last] = c.held
    each = answer.reshape(len(part.signs), -1, 3, 3)
    for signs, characters, own in zip(part.signs, part.characters, each, strict=True):
        seen = np.hstack([k * c.seen for k, c in zip(characters, part.curvatures, strict=True)])
        mirrored = own * signs[:, None] * signs / part.curvatures[0].volume[:, None, None]
        answering = np.matmul(mirrored, seen.reshape(len(own), 3, -1)).reshape(seen.shape)
        total -= seen.T @ answering
    return inverse_of(total)
