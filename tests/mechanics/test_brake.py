"""A step of a brake against its closed form."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from snapsim.mechanics.brake import EvenStep, slowing
from snapsim.parts.states import Pose


def drawn(seed, length):
    generator = np.random.default_rng(seed)
    time = 10.0 ** generator.uniform(-6, -1, 9)
    step = EvenStep(time, generator.normal(size=(9, 6)), generator.normal(size=9), length)
    return step, generator.normal(size=6)


@pytest.mark.parametrize("length", [1e-7, 1e-4, 1e-2])
def test_an_even_step_is_what_the_equation_says(length):
    """a' = -a/tau - g.u with g and u even, against an implicit integrator."""
    step, moved = drawn(1, length)
    driven = step.grips @ moved
    found = solve_ivp(
        lambda _, a: -a / step.time - driven,
        (0, length),
        step.before,
        "Radau",
        rtol=1e-10,
        atol=1e-13,
    )
    assert step.after(moved) == pytest.approx(found.y[:, -1], rel=1e-6, abs=1e-8)


@pytest.mark.parametrize("seed", range(5))
def test_what_bodies_lose_in_a_step_is_stored_or_becomes_heat(seed):
    """The heat is the integral of sum a^2/tau, never negative, at any length of the step."""
    step, moved = drawn(seed, 3e-3)
    times = np.linspace(0, step.length, 200_001)
    left = np.exp(-times[:, None] / step.time)
    course = left * step.before - step.time * (1 - left) * (step.grips @ moved)
    heat = np.trapezoid((course**2 / step.time).sum(axis=1), times)
    assert step.heat(moved) == pytest.approx(heat, rel=1e-4)
    assert step.heat(moved) > 0


def test_quick_amplitudes_are_a_drag():
    step, moved = drawn(2, 1e3)
    step = EvenStep(step.time, step.grips, np.zeros(9), step.length)
    drag = np.einsum("k,ki,kj->ij", step.time, step.grips, step.grips)
    assert step.wrench(moved).ravel() == pytest.approx(-drag @ moved, rel=1e-3)


def test_slowing_bounds_the_rate_at_which_a_brake_stops_bodies():
    """The largest eigenvalue of W D, W the inverse masses, D the drag."""
    step, _ = drawn(3, 1.0)

    class Known:
        time = step.time

        def grips(self, pose):
            return step.grips

    inverse = np.array([[2.0, 2.0, 2.0, 5.0, 5.0, 5.0]])
    drag = np.einsum("k,ki,kj->ij", step.time, step.grips, step.grips)
    fastest = np.linalg.eigvals(inverse.ravel()[:, None] * drag).real.max()
    found = slowing(Known(), Pose(np.zeros((1, 3)), np.zeros((1, 4))), inverse, 10.0)
    assert fastest <= found <= 6 * fastest
