"""Products with stored triangles, against the full matrices."""

import numpy as np
import pytest

from snapsim.arrays import Array
from snapsim.magnetics.cells.reflection import flips
from snapsim.magnetics.demagnetization import DemagnetizingOperator
from snapsim.magnetics.symmetric_blocks import buffer, layout, multiply

RNG = np.random.default_rng(3)


def operator(base: int, mirrors: tuple[int, ...]) -> DemagnetizingOperator:
    blocks = RNG.normal(size=(2 ** len(mirrors), 3 * base, 3 * base))
    return DemagnetizingOperator(blocks + blocks.transpose(0, 2, 1), mirrors, np.ones(base))


def full(one: DemagnetizingOperator, x: Array) -> Array:
    classes = np.matmul(one.blocks, one.to_classes(x)[:, :, None])[:, :, 0]
    return one.from_classes(classes)


@pytest.mark.parametrize("base", [1, 2, 5, 8])
@pytest.mark.parametrize("dtype", [np.float64, np.float32])
def test_a_stored_triangle_multiplies_as_the_whole_symmetric_matrix(base: int, dtype: type) -> None:
    # odd and even orders of block, two bodies of unlike symmetry one after the other
    bodies = [operator(base, (0, 2)), operator(base + 1, ()), operator(base, (0, 1, 2))]
    where = layout([len(o.volume) for o in bodies], [flips(o.mirrors) for o in bodies])
    x = RNG.normal(size=(int(where.cell[-1]), 3))
    y = np.full_like(x, np.nan)
    multiply(where, buffer([o.blocks for o in bodies], dtype), x, y)
    cuts = where.cell[1:-1]
    expected = np.concatenate(
        [full(o, part) for o, part in zip(bodies, np.split(x, cuts), strict=True)]
    )
    # rounding of sums of at most 27 terms of order 1
    assert y == pytest.approx(expected, abs=60 * float(np.finfo(dtype).eps))
