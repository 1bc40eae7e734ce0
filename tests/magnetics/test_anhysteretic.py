"""The anhysteretic curve: its values, its energy, its inverse, and tables that are refused."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad

from snapsim.constants import MU_0
from snapsim.magnetics.anhysteretic import check_table, compiled_curves, crossing, state_at
from snapsim.parts.materials import MATERIALS, MagnetisationCurve

# Steel of TEAM Workshop problem 13 (definition document; B in T, H in A/m), below 1.8 T.
TEAM_13_B = [0, .0025, .005, .0125, .025, .05, .1, .2, .3, .4, .5, .6, .7, .8, .9, 1, 1.1, 1.2, 1.3,
             1.4, 1.5, 1.55, 1.6, 1.65, 1.7, 1.75, 1.8]  # fmt: skip
TEAM_13_H = [0, 16, 30, 54, 93, 143, 191, 210, 222, 233, 247, 258, 272, 289, 313, 342, 377, 433,
             509, 648, 933, 1228, 1934, 2913, 4993, 7189, 9423]  # fmt: skip

CURVES = {
    "linear": MagnetisationCurve(susceptibility=50.0),
    "saturating": MagnetisationCurve(susceptibility=1000.0, saturation=2.0),
    "table": MagnetisationCurve(
        field_strength=np.array(TEAM_13_H, float), flux_density=np.array(TEAM_13_B, float)
    ),
}
STRENGTHS = st.floats(1e-3, 3e6)


def test_saturating_curve_is_the_froehlich_formula() -> None:
    # Froehlich (1881), Kennelly (1891): M = chi H / (1 + chi H / M_s); by hand at chi H = M_s.
    curves = compiled_curves([CURVES["saturating"]])
    limit = 2.0 / MU_0
    m, slope, _ = state_at(curves, 0, limit / 1000.0)
    assert m == pytest.approx(limit / 2, rel=1e-14)
    assert slope == pytest.approx(250.0, rel=1e-14)


def test_table_passes_through_its_points_and_rises_with_mu_0_beyond_them() -> None:
    curves = compiled_curves([CURVES["table"]])
    for h, b in zip(TEAM_13_H, TEAM_13_B, strict=True):
        # 1e-6 H is the residual slope that the module documents.
        assert MU_0 * (h + state_at(curves, 0, h)[0]) == pytest.approx(b, abs=2e-6 * MU_0 * h)
    far, further = (MU_0 * (h + state_at(curves, 0, h)[0]) for h in (1e6, 2e6))
    assert further - far == pytest.approx(MU_0 * 1e6, rel=2e-6)


@pytest.mark.parametrize("name", CURVES)
@settings(max_examples=30, deadline=None)
@given(h=STRENGTHS)
def test_slope_and_coenergy_are_derivative_and_integral_of_the_curve(name: str, h: float) -> None:
    curves = compiled_curves([CURVES[name]])
    m, slope, coenergy = state_at(curves, 0, h)
    knots = (
        [k for k in TEAM_13_H if 0 < k < h] if name == "table" else [h * 10.0**-k for k in (1, 3)]
    )
    area, error = quad(lambda x: state_at(curves, 0, x)[0], 0, h, points=knots, limit=400)
    assert coenergy == pytest.approx(area, rel=1e-9, abs=10 * error)
    step = 1e-5 * h
    if all(abs(h - k) > step for k in TEAM_13_H):
        rise = state_at(curves, 0, h + step)[0] - state_at(curves, 0, h - step)[0]
        # Central difference: rounding of M over the step, plus curvature of order step^2.
        assert slope == pytest.approx(rise / (2 * step), rel=1e-4, abs=1e-14 * m / step)


@pytest.mark.parametrize("name", CURVES)
@settings(max_examples=50, deadline=None)
@given(h=STRENGTHS, factor=st.sampled_from([0.0, 1 / 3, 1.0]))
def test_load_line_meets_the_curve_where_it_should(name: str, h: float, factor: float) -> None:
    curves = compiled_curves([CURVES[name]])
    m = state_at(curves, 0, h)[0]
    assert crossing(curves, 0, 1.0, factor, h + factor * m, 1.0) == pytest.approx(h, rel=1e-9)
    # H(m) magnifies the rounding of m by m / (H dM/dH).
    steep = m / (h * state_at(curves, 0, h)[1])
    assert crossing(curves, 0, 0.0, 1.0, m, 1.0) == pytest.approx(h, rel=1e-9 + 1e-15 * steep)


def test_no_field_belongs_to_a_magnetisation_at_saturation() -> None:
    curves = compiled_curves([CURVES["saturating"]])
    assert math.isinf(crossing(curves, 0, 0.0, 1.0, 2.0 / MU_0, 1.0))


@pytest.mark.parametrize("name", [n for n, m in MATERIALS.items() if m.is_soft])
def test_built_in_soft_materials_have_an_allowed_curve(name: str) -> None:
    curve = MATERIALS[name].curve
    assert curve is not None
    assert compiled_curves([curve]).susceptibility[0] > 1


@pytest.mark.parametrize(
    ("h", "b", "message"),
    [
        ([0, 100, 50], [0, 0.5, 0.6], "row 3 .*H must rise"),
        ([0, 100, 100], [0, 0.5, 0.6], "row 3 .*H must rise"),
        ([0, 100, 200], [0, 0.5, 0.4], "row 3 .*B must rise"),
        ([0, 100, 200], [0, 0.5, 0.5], "row 3 .*B must rise"),
        ([0, 100, 1e6], [0, 0.5, 0.6], "row 3 .*less than mu_0"),
        ([0, -100, 200], [0, 0.5, 0.6], "row 2 .*negative"),
        ([0, 100, 200], [0, -0.5, 0.6], "row 2 .*negative"),
        ([10, 100], [0, 0.5], r"row 1 .*\(0 A/m, 0 T\)"),
        ([0, 100], [0.1, 0.5], r"row 1 .*\(0 A/m, 0 T\)"),
        ([0, math.nan], [0, 0.5], "row 2 .*not a number"),
        ([0], [0], "at least two rows"),
        ([0, 1, 2], [0, 1], "at least two rows"),
    ],
)
def test_tables_that_are_no_anhysteretic_curve_are_refused(
    h: list[float], b: list[float], message: str
) -> None:
    with pytest.raises(ValueError, match=message):
        check_table(h, b)


@pytest.mark.parametrize(
    ("chi", "saturation"), [(None, None), (0.0, 1.0), (100.0, 0.0), (math.inf, 1.0)]
)
def test_parameters_out_of_range_are_refused(chi: float | None, saturation: float | None) -> None:
    with pytest.raises(ValueError, match="must be a finite number above 0"):
        compiled_curves([MagnetisationCurve(chi, saturation)])
