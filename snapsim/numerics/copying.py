"""Copying within bare compiled functions, where array assignment may need memory for overlaps."""

from __future__ import annotations

from typing import Any

from numpy.typing import NDArray

from snapsim.numerics.compilation import bare


@bare
def copy(source: NDArray[Any], target: NDArray[Any]) -> None:
    """Copy numbers (n,) one by one, in the precision of the target."""
    for i in range(source.size):
        target[i] = source[i]
