"""Conductors beside each other against one of their common shape, and against closed forms."""

from __future__ import annotations

from functools import cache
from itertools import pairwise

import numpy as np
import pytest

from snapsim.constants import MU_0
from snapsim.magnetics.conductors.inductance import bricks_of, mutual_inductances
from snapsim.magnetics.conductors.joined import joined_modes
from snapsim.magnetics.conductors.layout import conductor_cells
from snapsim.magnetics.conductors.modes import current_modes
from snapsim.numerics.rotations import from_rotation_vector, matrix
from snapsim.parts.shapes import Box, Ring
from tests.magnetics.test_conductors import SIGMA, grips

HEIGHT, SIDE, THICK = 0.03, 0.24, 2e-3
MOMENT = np.array([0.0, 0.0, 1.0])
UPRIGHT = np.eye(3)


def plates(*layers):
    """Modes and places of plates one on another: (thickness [m], cells) from the top."""
    modes = [current_modes(conductor_cells(Box((SIDE, SIDE, t)), n), SIGMA) for t, n in layers]
    top = THICK / 2 - np.cumsum([0.0, *(t for t, _ in layers)])
    return modes, [np.array([0.0, 0.0, z - t / 2]) for z, (t, _) in zip(top, layers, strict=False)]


@cache
def drag_and_lift(layers, speed, apart=False):
    """Force (2,) on a dipole that flies over plates at a multiple of 2/(mu0 sigma thickness)."""
    modes, places = plates(*layers)
    if apart:
        time, shares = unjoined(modes)
    else:
        found = joined_modes(modes, places, [UPRIGHT] * len(modes))
        time, shares = found.time, found.shares

    def push(x):
        parts = zip(modes, places, shares, strict=True)
        at = np.array([x, 0.0, HEIGHT])
        return sum(share.T @ grips(m, at - p, MOMENT) for m, p, share in parts)

    v = speed * 2 / (MU_0 * SIGMA * THICK)
    dt = HEIGHT / v / 20
    amplitude, left = np.zeros(len(time)), np.exp(-dt / time)
    for x in np.arange(-200, 0) * v * dt:
        amplitude = left * amplitude + time * (1 - left) * push(x + v * dt / 2)[:, 0] * v
    force = -amplitude @ push(0.0)
    return -force[0], force[2]


def unjoined(modes):
    """Times and shares as if no conductor knew of the others."""
    time = np.concatenate([m.time for m in modes])
    ends = np.cumsum([0, *(len(m.time) for m in modes)])
    return time, tuple(np.eye(len(time))[a:b] for a, b in pairwise(ends))


ONE, HALVES = ((2e-3, 196),), ((1e-3, 196), (1e-3, 196))


@pytest.mark.parametrize("speed", [0.1, 1.0, 3.0])
def test_a_plate_cut_in_two_layers_brakes_as_the_whole_one(speed):
    """Within 0.5 % of the force: the halves' currents lie half a millimetre higher and lower. Not
    joined they drag up to twice as much from the sheet's speed on."""
    whole, cut = (np.array(drag_and_lift(layers, speed)) for layers in (ONE, HALVES))
    assert cut == pytest.approx(whole, abs=5e-3 * np.hypot(*whole))
    apart = np.array(drag_and_lift(HALVES, speed, apart=True))
    assert (apart[0] > 1.2 * whole[0]) == (speed > 0.5)


@pytest.mark.parametrize("speed", [0.1, 1.0, 3.0])
def test_two_thin_sheets_brake_as_receding_images_of_their_thickness_together(speed):
    """Lift F0 (1 - w/sqrt(w^2 + v^2)), drag lift w/v, w = 2/(mu0 sigma h) with h of both, F0 =
    3 mu0 m^2/(32 pi z^4) (abstract of Am. J. Phys. 60, 693; the dipole's factor from memory). The
    sheets end at 4 heights; cells of 0.57 heights: 6 % of the force. Cells that do not lie on each
    other as well."""
    w_over_v = 1 / speed
    lift = 3 * MU_0 / (32 * np.pi * HEIGHT**4) * (1 - w_over_v / np.hypot(w_over_v, 1))
    expected = np.array([lift * w_over_v, lift])
    for layers in (HALVES, ((1e-3, 196), (1e-3, 130))):
        found = np.array(drag_and_lift(layers, speed))
        assert found == pytest.approx(expected, abs=0.065 * np.hypot(*expected))


def test_three_rings_end_to_end_are_a_pipe():
    """Their currents round the axis die away as the pipe's do, within 0.2 % on as many cells; one
    ring's a sixth faster. (What crosses the cuts, two slower modes of the pipe, cannot flow.)"""
    radius, wall, length = 0.01, 1e-3, 0.03
    part = Ring(2 * radius + wall, 2 * radius - wall, length)
    modes = [current_modes(conductor_cells(part, 60), SIGMA)] * 3
    places = [np.array([0.0, 0.0, k * length]) for k in (-1, 0, 1)]
    pipe = Ring(2 * radius + wall, 2 * radius - wall, 3 * length)
    cells = conductor_cells(pipe, 180)
    whole = current_modes(cells, SIGMA)
    turning = np.cross(cells.mesh.centre, whole.mean.reshape(len(whole.time), -1, 3))[..., 2]
    slowest = whole.time[np.argmax(np.abs(turning @ cells.mesh.volume))]
    found = joined_modes(modes, places, [UPRIGHT] * 3)
    assert found.time[0] == pytest.approx(slowest, rel=2e-3)
    assert found.time[0] > 1.15 * modes[0].time[0]


def test_joined_modes_belong_to_the_bodies_not_to_the_axes():
    modes, places = plates((1e-3, 60), (1e-3, 40))
    turn = matrix(from_rotation_vector(np.array([0.3, -0.8, 0.5])))
    found = joined_modes(modes, places, [UPRIGHT] * 2)
    turned = joined_modes(modes, [turn @ p + 0.1 for p in places], [turn] * 2)
    assert turned.time == pytest.approx(found.time, rel=1e-9)


def test_two_hoops_on_one_axis_induce_in_each_other_as_by_maxwell_s_integrals():
    """M of two coaxial circles of 100 mm, 60 mm apart: mu0 sqrt(a b) ((2/k - k) K - 2/k E)
    (Jackson, 3rd ed., problem 5.32 or any text; from memory), within 3 % for 16 chords."""
    from scipy.special import ellipe, ellipk

    cells = conductor_cells(Ring(0.202, 0.198, 2e-3), 16)
    one = bricks_of(cells.mesh, cells.thin)
    other = one.placed(np.array([0.0, 0.0, 0.06]), UPRIGHT)
    along = np.cross([0.0, 0.0, 1.0], cells.mesh.centre)
    density = along / np.linalg.norm(along, axis=1, keepdims=True) / (2e-3) ** 2
    found = np.einsum("ci,cd,di->", density, mutual_inductances(one, other), density)
    k2 = 4 * 0.1**2 / (0.2**2 + 0.06**2)
    k = np.sqrt(k2)
    assert found == pytest.approx(
        MU_0 * 0.1 * ((2 / k - k) * ellipk(k2) - 2 / k * ellipe(k2)), rel=0.03
    )


def test_far_conductors_leave_each_other_alone():
    modes, places = plates((1e-3, 30), (1e-3, 30))
    found = joined_modes(modes, [places[0], places[1] - [0, 0, 5.0]], [UPRIGHT] * 2)
    alone = np.sort(np.concatenate([m.time for m in modes]))[::-1]
    assert found.time == pytest.approx(alone, rel=1e-3)
