"""One step of a blow at several contacts, against the same sweeps written plainly."""

import numpy as np
import pytest

from snapsim.mechanics.cone_complementarity import spans_of
from snapsim.mechanics.coulomb_cone import friction_disk
from snapsim.mechanics.unit_sweeps import Units, _unit_impulse, coupling_of, sweeps


def drawn(seed, count, wide):
    """W of contacts that act on those next to them, or on all (`wide`), and their velocities."""
    r = np.random.default_rng(seed)
    rows = r.normal(size=(3 * count, 3 * count + 6))
    for j in range(0 if wide else count):
        own = np.zeros(3 * count + 6, dtype=bool)
        own[3 * j : 3 * j + 6] = True
        rows[3 * j : 3 * j + 3, ~own] = 0.0
    operator = rows @ rows.T + 0.1 * np.eye(3 * count)
    u = r.normal(size=3 * count)
    linear = r.random(count) < 0.5
    kinds = r.choice([0.0, 0.4, 1.0], count), r.choice([0.0, 0.3], count)
    units = Units(*kinds, r.uniform(0.5, 2.0, count), linear)
    press = np.where(r.random(count) < 0.7, r.uniform(0.1, 1.0, count), 0.0)
    return operator, u, units, press, np.where(r.random(count) < 0.5, 1e-3, 0.0)


def swept_plainly(operator, u, units, press, gap, step, theta, scale):
    """Block Gauss-Seidel with W as a matrix, from zero, until nothing changes any more."""
    piece = np.zeros(len(u))
    for sweep in range(3000):
        before = piece.copy()
        order = range(len(press)) if sweep % 2 == 0 else reversed(range(len(press)))
        for j in order:
            n = 3 * j
            own = operator[n : n + 3, n : n + 3]
            rest = operator[n : n + 3] @ piece - own @ piece[n : n + 3]
            tangent = own[0, 1:] @ piece[n + 1 : n + 3]
            piece[n] = _unit_impulse(
                u[n] + 0.5 * (rest[0] + tangent),
                0.5 * own[0, 0],
                press[j],
                gap[j],
                units.restitution[j],
                units.stiffness[j],
                units.linear[j],
                step,
            )
            q = u[n + 1 : n + 3] / theta[j] + rest[1:] + own[1:, 0] * piece[n]
            sides = own[1, 1], own[1, 2], own[2, 2]
            reach = units.friction[j] * piece[n]
            piece[n + 1 : n + 3] = friction_disk(*sides, *q, reach)
        if np.abs(piece - before).max() < 1e-15 * np.abs(piece).max():
            break
    return piece


@pytest.mark.parametrize("seed", range(12))
@pytest.mark.parametrize("wide", [True, False])
def test_a_step_is_that_of_plain_sweeps(seed, wide):
    operator, u, units, press, gap = drawn(seed, 5, wide)
    theta = np.where(np.arange(5) % 2 == 0, 1.0, 0.5)
    piece, moved = np.zeros(15), np.zeros(15)
    sweeps(coupling_of(operator), units, u, press, gap, 0.02, theta, 1.0, piece, moved)
    plain = swept_plainly(operator, u, units, press, gap, 0.02, theta, 1.0)
    # normals settle to 1e-13 of the speeds, friction to a hundred times that
    np.testing.assert_allclose(piece, plain, atol=1e-10 * np.abs(plain).max())
    np.testing.assert_allclose(moved, operator @ piece, atol=1e-12 * np.abs(u).max())


@pytest.mark.parametrize("wide", [True, False])
def test_blocks_and_runs_are_all_that_w_has(wide):
    operator = drawn(3, 7, wide)[0]
    operator[:3, 12:15] = operator[12:15, :3] = 0.5  # beside its neighbours, one further off
    found, whole, marked = coupling_of(operator), np.zeros((21, 21)), np.zeros((21, 21))
    for j in range(7):
        for k in range(found.first[j], found.first[j + 1]):
            i = 3 * found.near[k]
            whole[3 * j : 3 * j + 3, i : i + 3] = found.block[k]
        for r in range(found.run[j], found.run[j + 1]):
            marked[3 * j : 3 * j + 3, found.low[r] : found.high[r]] += 1.0
    np.testing.assert_array_equal(whole, operator)
    np.testing.assert_array_equal(marked, operator != 0.0)
    span = spans_of(operator)
    for j in range(7):
        columns = np.flatnonzero(operator[3 * j : 3 * j + 3].any(axis=0))
        assert tuple(span[j]) == (columns[0], columns[-1] + 1)
