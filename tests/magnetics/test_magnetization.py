"""The convex solve: exact nonlinear ellipsoids, convergence from anywhere, and its bound."""

import numpy as np
import pytest

from snapsim.arrays import Array
from snapsim.constants import MU_0
from snapsim.magnetics.anhysteretic import compiled_curves
from snapsim.magnetics.magnetization import RELAXED, Minimum, Problem, minimise, uncoupled
from snapsim.magnetics.symmetric_blocks import buffer, layout
from snapsim.parts.materials import MagnetisationCurve

# Steel of TEAM Workshop problem 13 (definition document; B in T, H in A/m), below 1.8 T.
TEAM_13_B = [0, .0025, .005, .0125, .025, .05, .1, .2, .3, .4, .5, .6, .7, .8, .9, 1, 1.1, 1.2, 1.3,
             1.4, 1.5, 1.55, 1.6, 1.65, 1.7, 1.75, 1.8]  # fmt: skip
TEAM_13_H = [0, 16, 30, 54, 93, 143, 191, 210, 222, 233, 247, 258, 272, 289, 313, 342, 377, 433,
             509, 648, 933, 1228, 1934, 2913, 4993, 7189, 9423]  # fmt: skip
STEEL = MagnetisationCurve(None, None, np.array(TEAM_13_H, float), np.array(TEAM_13_B, float))
ALONE = uncoupled()


def problem_of(operator: Array, volume: Array, curve: MagnetisationCurve) -> Problem:
    """A body without mirror symmetry; `operator` (3c, 3c) is V N."""
    curves = compiled_curves([curve])
    chi, shift = float(curves.susceptibility[0]), np.diag(np.repeat(volume, 3))
    return Problem(
        where=layout([len(volume)], [np.ones((1, 3))]),
        curves=curves,
        body=np.zeros(len(volume), np.int64),
        volume=volume,
        slope=np.full(len(volume), 1 / chi),
        demagnetising=buffer([operator[None]]),
        rough=buffer([operator[None]], np.float32),
        shifted=buffer([np.linalg.inv(operator + shift / chi)[None]]),
        relaxed=buffer([np.linalg.inv(operator + shift / min(chi, RELAXED))[None]], np.float32),
    )


def solved(problem: Problem, h: Array, tolerance: float = 1e-13) -> Minimum:
    cold = np.zeros_like(h)
    load = problem.volume[:, None] * h
    return Minimum(*minimise(problem, ALONE, load, cold, cold, tolerance, 4000))


def ellipsoid(factors: tuple[float, float, float], curve: MagnetisationCurve) -> Problem:
    return problem_of(np.diag(factors), np.ones(1), curve)


# Nonlinear ellipsoids in a uniform field along an axis: H + N M(H) = H0 (Stoner, Phil. Mag. 36,
# 803 (1945); Osborn, Phys. Rev. 67, 351 (1945)); roots to 1e-12. chi = 1000, M_s = 1.7e6 A/m.
@pytest.mark.parametrize(
    ("factor", "applied", "inside", "magnetisation"),
    [
        (1 / 3, 1e4, 30.4442836, 29908.6671),
        (1 / 3, 1e5, 362.682645, 298911.952),
        (1 / 3, 3e5, 1887.11513, 894338.655),
        (1 / 3, 6e5, 51456.0682, 1645631.8),
        (1 / 3, 1e6, 435536.565, 1693390.31),
        (1 / 3, 3e6, 2433728.88, 1698813.35),
        (0.1087094651, 1e5, 1922.45611, 902198.754),
        (0.1087094651, 3e5, 117822.456, 1675820.44),
        (0.1087094651, 3e6, 2815305.44, 1698974.09),
        (0.5, 1e5, 226.086052, 199547.828),
        (0.5, 1e6, 158992.339, 1682015.32),
    ],
)
def test_saturating_ellipsoid_has_the_exact_magnetisation(
    factor: float, applied: float, inside: float, magnetisation: float
) -> None:
    curve = MagnetisationCurve(1000.0, 1.7e6 * MU_0)
    problem = ellipsoid((factor, (1 - factor) / 2, (1 - factor) / 2), curve)
    found = solved(problem, np.array([[applied, 0.0, 0.0]]), 1e-14)
    assert found.converged
    # Nine printed digits; the energy bound 1e-14 leaves 1e-7 of M where M is softest.
    assert found.m[0] == pytest.approx([magnetisation, 0, 0], rel=2e-7, abs=1e-6)
    assert found.h[0] == pytest.approx([inside, 0, 0], rel=2e-6, abs=1e-6)


# Sphere of TEAM Workshop problem 13 steel; linear interpolation of its table, mu_0 M in tesla.
@pytest.mark.parametrize(
    ("applied", "polarisation"),
    [(1e4, 0.037255), (5e4, 0.187712), (1e5, 0.376123), (2e5, 0.752923), (4e5, 1.504324)],
)
def test_tabulated_steel_sphere_has_the_exact_polarisation(
    applied: float, polarisation: float
) -> None:
    problem = ellipsoid((1 / 3, 1 / 3, 1 / 3), STEEL)
    found = solved(problem, np.array([[0.0, applied, 0.0]]))
    # M = 3 (H0 - H): our smooth interpolation moves H by up to 10 A/m between two rows.
    assert MU_0 * found.m[0, 1] == pytest.approx(polarisation, abs=3 * MU_0 * 10)


def test_steel_sphere_in_deep_saturation_reaches_the_published_polarisation() -> None:
    # TEAM 13: B = mu_0 H + 2.16 T above 2.22 T; here as further rows from the fitted formula.
    h = np.concatenate([TEAM_13_H, [2e4, 3e4, 4.887e4, 2e5]])
    a, b, c = -2.381e-10, 2.327e-5, 1.590
    far = h[-4:-1]
    polarisation = np.append(a * far**2 + b * far + c, 2.16)
    flux = np.concatenate([TEAM_13_B, MU_0 * h[-4:] + polarisation])
    problem = ellipsoid((1 / 3, 1 / 3, 1 / 3), MagnetisationCurve(None, None, h, flux))
    found = solved(problem, np.array([[0.0, 0.0, 1e6]]))
    # The residual slope of a table adds 1e-6 H.
    assert MU_0 * found.m[0, 2] == pytest.approx(2.16, abs=1e-6)
    assert found.h[0, 2] == pytest.approx(427042.21, rel=1e-5)


# Torque on a linear prolate spheroid in a uniform field at 30 deg, minor radius 10 mm, 10 kA/m:
# mu_0 V H0^2 (alpha_par - alpha_perp) sin cos (Osborn 1945 for N); values by that formula.
@pytest.mark.parametrize(
    ("aspect", "factors", "chi", "torque"),
    [
        (2.0, (0.1735639975, 0.4132180012), 100.0, 0.001406248769),
        (5.0, (0.0558209698, 0.4720895151), 1000.0, 0.01764780695),
    ],
)
def test_torque_on_a_soft_spheroid_is_exact(
    aspect: float, factors: tuple[float, float], chi: float, torque: float
) -> None:
    volume = 4 / 3 * np.pi * aspect * 0.01**3
    operator = volume * np.diag([factors[1], factors[1], factors[0]])
    problem = problem_of(operator, np.array([volume]), MagnetisationCurve(chi))
    h = 1e4 * np.array([[0.5, 0.0, np.sqrt(0.75)]])
    found = solved(problem, h)
    # M x h turns the long axis (z) toward the field (x): +y. Ten printed digits of N.
    twist = MU_0 * volume * np.cross(found.m[0], h[0])[1]
    assert twist == pytest.approx(torque, rel=1e-8)


def random_body(rng: np.random.Generator, cells: int) -> tuple[Array, Array]:
    """A random operator with the eigenvalues of N in [0, 1], many near 0, and volumes."""
    turn, _ = np.linalg.qr(rng.normal(size=(3 * cells, 3 * cells)))
    volume = rng.uniform(0.2, 2.0, cells) * 1e-8
    root = np.repeat(np.sqrt(volume), 3)
    factors = rng.uniform(size=3 * cells) ** rng.uniform(1, 4)
    operator = root[:, None] * (turn * factors) @ turn.T * root
    return (operator + operator.T) / 2, volume


@pytest.mark.parametrize("chi", [1.0, 30.0, 1e3, 1e5, None])
@pytest.mark.parametrize("applied", [0.05, 0.5, 1.0, 3.0])
def test_solve_converges_from_any_start_and_its_bound_holds(
    chi: float | None, applied: float
) -> None:
    rng = np.random.default_rng([int(chi or 7), int(100 * applied)])
    curve = STEEL if chi is None else MagnetisationCurve(chi, 2.1)
    for uneven in (0.0, 3.0):
        operator, volume = random_body(rng, 12)
        problem = problem_of(operator, volume, curve)
        h = applied / MU_0 * (rng.normal(size=3) + uneven * rng.normal(size=(12, 3)))
        load = problem.volume[:, None] * h
        exact = solved(problem, h, 1e-12)
        assert exact.converged
        for size in (1.0, 1e4, 1e7):
            start = size * rng.normal(size=(12, 3))
            first = Minimum(*minimise(problem, ALONE, load, start, 0 * load, 1e-2, 4000))
            consistent = (operator @ first.m.ravel()).reshape(-1, 3)
            assert first.converged == (first.bound <= 1e-2 * abs(np.sum(load * first.m)) / 2)
            found = Minimum(*minimise(problem, ALONE, load, first.h, consistent, 1e-5, 4000))
            assert found.converged
            assert np.isfinite(found.m).all()
            # A M is exact although Newton's steps are found with a rounded A: the residual, and
            # so the bound, is computed from it. Sums of 36 terms, some thousand steps at most.
            exactly = (operator @ found.m.ravel()).reshape(-1, 3)
            assert found.am == pytest.approx(exactly, abs=1e-11 * np.abs(exactly).max())
            # Rounding of sums of the order of the energy itself.
            noise = 1e-12 * abs(exact.energy)
            assert -noise <= found.energy - exact.energy + exact.bound
            assert found.energy - exact.energy <= found.bound + noise
            assert found.bound <= 1e-5 * abs(np.sum(load * found.m)) / 2


def test_too_few_products_are_reported_and_not_hidden() -> None:
    rng = np.random.default_rng(5)
    problem = problem_of(*random_body(rng, 12), MagnetisationCurve(1e3, 2.0))
    h = 1e6 * rng.normal(size=(12, 3))
    load, cold = problem.volume[:, None] * h, np.zeros_like(h)
    assert not minimise(problem, ALONE, load, cold, cold, 1e-12, 2).converged


def test_warm_start_costs_less_than_a_cold_one() -> None:
    rng = np.random.default_rng(6)
    problem = problem_of(*random_body(rng, 12), MagnetisationCurve(1e3, 2.0))
    load = problem.volume[:, None] * 3e5 * rng.normal(size=(12, 3))
    cold = np.zeros_like(load)
    first = Minimum(*minimise(problem, ALONE, load, cold, cold, 1e-5, 4000))
    again = Minimum(*minimise(problem, ALONE, 1.001 * load, first.h, first.am, 1e-5, 4000))
    assert again.products <= 0.5 * first.products
