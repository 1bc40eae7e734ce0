"""The built-in materials: sources, physical bounds, published figures."""

import numpy as np
import pytest

from snapsim.constants import MU_0
from snapsim.parts.materials import MATERIALS, table

GREY_KNEE = (
    (200, 0.03975),
    (400, 0.08648),
    (700, 0.18946),
    (800, 0.23053),
    (1000, 0.31286),
    (1250, 0.40582),
    (1400, 0.45346),
    (1550, 0.49471),
    (1750, 0.54053),
    (2000, 0.58552),
    (3000, 0.68911),
    (4000, 0.74949),
    (5000, 0.79929),
    (6000, 0.84394),
    (7000, 0.88449),
    (8500, 0.93858),
    (10000, 0.98555),
    (12000, 1.0387),
    (14000, 1.08274),
    (16500, 1.12733),
    (20000, 1.17451),
)
"""Field strength H [A/m] and polarisation J [T]: Modelica Standard Library, cast-iron record."""

VALUES = (
    "density",
    "remanence",
    "coercivity",
    "recoil_permeability",
    "youngs_modulus",
    "poissons_ratio",
    "strength",
    "tensile_strength",
    "hardness",
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


def test_grey_iron_follows_the_law_of_approach_between_knee_and_saturation():
    # J = J_0 - k/(H + h) through value and slope of the knee's end and 1.60 T at 796 kA/m: three
    # equations for J_0, k, h. The slope is the file's own, rounded as it says: so 1e-4 T
    slope, end, last, top = 1.2e-5, 20e3, 796e3, 1.60
    start = GREY_KNEE[-1][1]
    # k = slope (end + h)^2 and top - start = k (1/(end + h) - 1/(last + h))
    rise = (top - start) / (last - end)
    u = rise * (last - end) / (slope - rise)  # end + h
    for h in (25e3, 30e3, 40e3, 60e3, 100e3, 160e3, 250e3, 400e3):
        j = start + slope * u * (h - end) / (h - end + u)
        assert polarisation("grey cast iron", h) == pytest.approx(j, abs=1e-4)


WOOD = """
place = 1

[common]
family = "wood"

[[material]]
name = "ash"
density = { value = 680, unit = "kg/m^3", source = "made up" }
"""


def test_a_family_is_one_file_and_shares_what_it_has_in_common(tmp_path):
    more = (
        WOOD
        + """
[[material]]
name = "odd"
family = "other"
density = { value = 1, unit = "kg/m^3", source = "made up" }
curve = { source = "own", gives = "polarisation", units = ["A/m", "T"], rows = [[0,0], [9,1]] }
"""
    )
    (tmp_path / "wood.toml").write_text(more)
    ash, odd = table.read_families(tmp_path).values()
    assert (ash.family, ash.density, ash.source) == ("wood", 680.0, {"density": "made up"})
    assert odd.family == "other"
    assert odd.curve.flux_density.tolist() == [0, 1 + 9 * MU_0]


@pytest.mark.parametrize(
    ("old", "new", "named"),
    [
        ('source = "made up"', 'source = " "', "wood.toml: ash: density: has no source"),
        ('unit = "kg/m^3"', 'unit = "g/cm^3"', "ash: density: unit is 'g/cm^3'"),
        ("value = 680", "value = nan", "ash: density: value is nan"),
        ("value = 680", 'value = "680"', "ash: density: value is '680'"),
        ("density =", "densty =", "ash: densty: is unknown; allowed are name, family"),
        ("place = 1", "", "wood.toml: place: is None"),
        ('name = "ash"', "", "a material without a name: name: is missing"),
        ('family = "wood"', "", "ash: family: is missing"),
    ],
)
def test_an_unsound_family_is_refused_by_file_material_and_key(tmp_path, old, new, named):
    (tmp_path / "wood.toml").write_text(WOOD.replace(old, new))
    with pytest.raises(ValueError, match=named.replace("^", r"\^")):
        table.read_families(tmp_path)


def test_two_entries_of_one_name_are_refused(tmp_path):
    (tmp_path / "wood.toml").write_text(WOOD)
    (tmp_path / "more.toml").write_text(WOOD)
    with pytest.raises(ValueError, match="ash: stands in two entries"):
        table.read_families(tmp_path)


def test_ductile_iron_has_the_published_permeability_and_saturation():
    # 18 000 G at 10 kOe and largest permeability 2100, ferritic grades: published ductile-iron
    # design data
    curve = MATERIALS["ductile iron"].curve
    assert (curve.susceptibility, curve.saturation) == (2100, 1.80)
