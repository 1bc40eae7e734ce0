"""Bars of force and torque cover kinds of parts beside kinds of magnets, by seed, at draft.

Kinds, truth and a script for seeds of one's own: `drawn_bars_family.py`. Tees of two blocks, each
with cells of its own, had errors of 4 to 25 % here and bars of 9; since they share a grid
(`magnetics.cells.joined_blocks`) they err by 0.2 to 8 %. The tee drawn here had 8.4 % in a bar of
6.1, and has 0.4 % in one of 3.8.
"""

import pytest
from drawn_bars_family import LONE, SEVERAL, judged


@pytest.mark.parametrize(
    ("kind", "seed"), [("tee", 13), ("hammer", 3), ("washer", 1), ("plates", 1)]
)
def test_bars_cover_a_kind(kind, seed):
    rows = judged(kind, seed, "draft", 500)
    assert not [row for row in rows if "!" in row.outside], rows


@pytest.mark.longer
@pytest.mark.slow
def test_bars_cover_every_kind():
    """At least 95 % of forces and torques, what the truth itself is off by allowed for."""
    rows = [
        (kind, seed, *row) for seed in (2, 3) for kind in (*LONE, *SEVERAL)
        for row in judged(kind, seed, "draft")
    ]  # fmt: skip
    for column in (3, 4):
        outside = [row for row in rows if row[column][1] > row[column][2] + row[column][3]]
        assert len(outside) <= 0.05 * len(rows), outside
