"""The built-in materials: sources, physical bounds, published figures."""

import numpy as np
import pytest

from snapsim.constants import MU_0
from snapsim.parts.materials import MATERIALS
from snapsim.parts.materials.cast_iron import GREY_KNEE

VALUES = (
    "density",
    "remanence",
    "coercivity",
    "recoil_permeability",
    "youngs_modulus",
    "poissons_ratio",
    "strength",
    "tensile_strength",
    "conductivity",
)


def polarisation(name, field_strength):
    """J [T] of a tabulated curve at H [A/m]: linear between rows, constant beyond."""
    curve = MATERIALS[name].curve
    j = curve.flux_density - MU_0 * curve.field_strength
    return np.interp(field_strength, curve.field_strength, j)


def test_the_table_has_what_a_lab_show_needs():
    grades = [f"NdFeB N{n}" for n in (35, 38, 40, 42, 45, 48, 50, 52)]
    rest = [
        "hard ferrite",
        "grey cast iron",
        "ductile iron",
        "low-carbon steel",
        "430 stainless",
        "bearing steel",
        "oak",
        "birch plywood",
        "acrylic",
        "aluminium",
        "copper",
        "concrete",
    ]
    assert set(MATERIALS) >= {*grades, *rest}


@pytest.mark.parametrize("name", MATERIALS)
def test_every_value_names_its_source_and_how_it_is_known(name):
    material = MATERIALS[name]
    for key in VALUES:
        if getattr(material, key) is not None:
            assert material.source[key].strip()
    if material.curve is not None:
        keys = ["curve"] if material.curve.tabulated else ["susceptibility", "saturation"]
        for key in keys:
            assert "looked up" in material.source[key] or "from memory" in material.source[key]


@pytest.mark.parametrize("name", MATERIALS)
def test_every_value_is_physically_possible(name):
    m = MATERIALS[name]
    assert 400 < m.density < 9000
    assert m.youngs_modulus is None or 1e8 < m.youngs_modulus < 5e11
    assert m.poissons_ratio is None or 0 <= m.poissons_ratio < 0.5
    assert m.conductivity is None or 0 <= m.conductivity < 6.3e7  # silver
    assert not (m.is_magnet and m.is_soft)


@pytest.mark.parametrize("name", [n for n, m in MATERIALS.items() if m.curve and m.curve.tabulated])
def test_every_curve_rises_from_zero_at_least_as_steeply_as_vacuum(name):
    curve = MATERIALS[name].curve
    assert curve.field_strength[0] == curve.flux_density[0] == 0
    steps = np.diff(curve.field_strength)
    assert np.all(steps > 0)
    assert np.all(np.diff(curve.flux_density) >= MU_0 * steps)


def test_remanence_rises_with_the_grade_and_gives_its_energy_product():
    # (BH)max = Br^2 / (4 mu_0 mu_rec) for a straight demagnetisation line; smallest and largest
    # (BH)max of each grade [kJ/m^3] as in makers' tables (typical catalogue bands, common practice,
    # from memory)
    bands = {
        35: (263, 287),
        38: (287, 310),
        40: (302, 326),
        42: (318, 342),
        45: (342, 366),
        48: (358, 390),
        50: (374, 406),
        52: (390, 422),
    }
    last = 0.0
    for number, (low, high) in bands.items():
        m = MATERIALS[f"NdFeB N{number}"]
        assert m.remanence > last
        last = m.remanence
        product = m.remanence**2 / (4 * MU_0 * m.recoil_permeability)
        assert low * 1e3 < product < high * 1e3


def test_n45_is_the_middle_of_its_catalogue_band():
    # 1.32 to 1.38 T, typical catalogue band, common practice, from memory
    assert MATERIALS["NdFeB N45"].remanence == pytest.approx(1.35, abs=1e-12)


def test_mild_steel_saturates_at_the_published_polarisation():
    # TEAM Workshop problem 20, steel table: B = mu_0 H + 2.16 T beyond 2.3 T
    # (Takahashi, Nakata & Morishige, COMPEL 14, 57 (1995)); 1.8 T at 10 100 A/m
    assert polarisation("low-carbon steel", 1e6) == pytest.approx(2.16, abs=1e-9)
    assert polarisation("low-carbon steel", 10100) + MU_0 * 10100 == pytest.approx(1.8, abs=1e-9)


def test_430_stainless_follows_the_published_fit():
    # Modelica Standard Library, flux-tube material X6Cr17, fit of Roschke 2000:
    # mu_r = 1 + (mu_i - 1 + c_a b)/(1 + c_b b + b^n), b = B/B_max; table rounded to 0.1 A/m
    curve = MATERIALS["430 stainless"].curve
    for h, b in zip(curve.field_strength[1:-1], curve.flux_density[1:-1], strict=True):
        s = b / 1.1
        mu_r = 1 + (274 - 1 + 970 * s) / (1 + 1.2 * s + s**8.3)
        assert h == pytest.approx(b / (MU_0 * mu_r), abs=0.051)


def test_grey_iron_has_the_published_knee_and_saturation():
    # knee: Modelica Standard Library, cast-iron record; saturation: intrinsic induction 16 000 G
    # at 10 kOe (795.8 kA/m), published ductile-iron design data
    for h, j in GREY_KNEE:
        assert polarisation("grey cast iron", h) == pytest.approx(j, abs=1e-12)
    assert polarisation("grey cast iron", 795.8e3) == pytest.approx(1.60, abs=1e-3)
    assert polarisation("grey cast iron", 5e6) == pytest.approx(1.60, abs=1e-9)


def test_grey_iron_joins_knee_and_saturation_without_a_kink():
    # the slope dJ/dH falls all the way from the end of the knee
    curve = MATERIALS["grey cast iron"].curve
    h = curve.field_strength
    slope = np.diff(curve.flux_density - MU_0 * h) / np.diff(h)
    after_knee = slope[h[1:] > 10e3]
    assert np.all(np.diff(after_knee) < 0)


def test_ductile_iron_has_the_published_permeability_and_saturation():
    # 18 000 G at 10 kOe and largest permeability 2100, ferritic grades: published ductile-iron
    # design data
    curve = MATERIALS["ductile iron"].curve
    assert (curve.susceptibility, curve.saturation) == (2100, 1.80)
