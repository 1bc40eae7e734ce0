"""Small dense linear systems inside compiled code: Gauss elimination with row pivots.

numpy's solver would serve, but each use of it adds seconds to the compilation. Zeros at the ends of
rows are left out: bodies on each other in a row have a band.
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
        end = _end_of_row(matrix[k])
        for i in range(k + 1, size):
            if matrix[i, k] != 0.0:
                factor = matrix[i, k] / matrix[k, k]
                _take_multiple(matrix[i][k + 1 : end], factor, matrix[k][k + 1 : end])
                right[i] -= factor * right[k]
    for k in range(size - 1, -1, -1):
        total = right[k]
        for j in range(k + 1, _end_of_row(matrix[k])):
            total -= matrix[k, j] * right[j]
        right[k] = total / matrix[k, k]
    return True


@bare
def _end_of_row(row: Array) -> int:
    """Return how many numbers come before the zeros at the end of a row."""
    end = row.size
    while end > 0 and row[end - 1] == 0.0:
        end -= 1
    return end


@bare
def _take_multiple(row: Array, factor: float, other: Array) -> None:
    """Subtract `factor` times the `other` from a row (k,)."""
    for j in range(row.size):
        row[j] -= factor * other[j]
