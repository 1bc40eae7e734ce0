"""Array types used everywhere. SI units, float64, C order; shapes stand in each docstring."""

from __future__ import annotations

from typing import TypeAlias

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array: TypeAlias = NDArray[np.float64]
IntArray: TypeAlias = NDArray[np.int64]
BoolArray: TypeAlias = NDArray[np.bool_]
ByteArray: TypeAlias = NDArray[np.uint8]

_FLOATS = np.dtype(np.float64)

__all__ = ["Array", "ArrayLike", "BoolArray", "ByteArray", "IntArray", "as_floats"]


def as_floats(values: ArrayLike) -> Array:
    """Return `values` as a contiguous float64 array (a copy only where needed)."""
    if type(values) is np.ndarray and values.dtype is _FLOATS and values.flags.c_contiguous:
        return values
    return np.ascontiguousarray(values, dtype=np.float64)
