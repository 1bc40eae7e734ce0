"""Small dense linear systems inside compiled code: Gauss elimination with row pivots.

numpy's solver would serve, but each use of it adds seconds to the compilation.
"""

from __future__ import annotations

from snapsim.arrays import Array
from snapsim.numerics.compilation import bare


@bare
def solve_in_place(matrix: Array, right: Array) -> bool:
    """Overwrite `right` (k,) with x of `matrix` (k, k) x = right; False if singular.

    `matrix` is used up.
    """
    size = right.size
    for k in range(size):
        pivot = k
        for i in range(k + 1, size):
            if abs(matrix[i, k]) > abs(matrix[pivot, k]):
                pivot = i
        if not abs(matrix[pivot, k]) > 0.0:
            return False
        if pivot != k:
            for j in range(k, size):
                matrix[k, j], matrix[pivot, j] = matrix[pivot, j], matrix[k, j]
            right[k], right[pivot] = right[pivot], right[k]
        for i in range(k + 1, size):
            factor = matrix[i, k] / matrix[k, k]
            if factor != 0.0:
                for j in range(k + 1, size):
                    matrix[i, j] -= factor * matrix[k, j]
                right[i] -= factor * right[k]
    for k in range(size - 1, -1, -1):
        total = right[k]
        for j in range(k + 1, size):
            total -= matrix[k, j] * right[j]
        right[k] = total / matrix[k, k]
    return True
