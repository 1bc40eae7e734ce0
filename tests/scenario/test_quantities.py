"""Quantities with units. Conversions are those of the SI Brochure, 9th ed. (2019), tables 3, 7, 8
and 4 (from memory): prefixes milli, kilo, giga; degree = pi/180 rad; minute = 60 s."""

import math
import subprocess
import sys
from pathlib import Path

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from snapsim.scenario import quantities as q
from snapsim.scenario.usual_units import USUAL

CASES = [
    ("120 x 80 x 40 mm", q.SIZES, (0.12, 0.08, 0.04)),
    ("120x80x40mm", q.SIZES, (0.12, 0.08, 0.04)),
    ("12 cm x 80 mm x 0.04 m", q.SIZES, (0.12, 0.08, 0.04)),
    ("0, 0, -75 mm", q.LENGTH, (0.0, 0.0, -0.075)),
    ("1 m, 2 cm, 3 mm", q.LENGTH, (1.0, 0.02, 0.003)),
    ("12 deg", q.ANGLE, (math.pi / 15,)),
    ("12°", q.ANGLE, (math.pi / 15,)),
    ("0.25 turn", q.ANGLE, (math.pi / 2,)),
    ("1.5 s", q.TIME, (1.5,)),
    ("250 ms", q.TIME, (0.25,)),
    ("60 rpm", q.SPIN, (2 * math.pi,)),
    ("7.2 g/cm^3", q.DENSITY, (7200.0,)),
    ("110 GPa", q.STRESS, (110e9,)),
    ("955 kA/m", q.FIELD_STRENGTH, (955e3,)),
    ("1.3 T", q.FLUX_DENSITY, (1.3,)),
    ("1.0 MS/m", q.CONDUCTIVITY, (1e6,)),
    ("0, 0, -9.80665 m/s^2", q.ACCELERATION, (0.0, 0.0, -9.80665)),
    (" 1e3mm ", q.LENGTH, (1.0,)),
    ("2 J/(kg m) ", q.ACCELERATION, (2.0,)),
    ("3 kg m s^-2", q.FORCE, (3.0,)),
    ("4 N·m", q.TORQUE, (4.0,)),
    ("7 g/cm³", q.DENSITY, (7000.0,)),
]


@pytest.mark.parametrize(("text", "kind", "expected"), CASES, ids=[c[0] for c in CASES])
def test_a_quantity_is_read_into_si(text, kind, expected):
    # one rounding of the scale factor is all that is allowed
    assert q.parse(text, kind, len(expected)) == pytest.approx(expected, rel=4e-16, abs=0)


def test_whole_millimetres_are_exact():
    assert q.parse("18 mm", q.LENGTH) == (0.018,)
    for millimetres in range(1, 2000):
        assert q.parse(f"{millimetres} mm", q.LENGTH) == (float(f"{millimetres}e-3"),)


WRONG = [
    (f"1{' ' * 100_000}mm -", q.LENGTH, "is no number"),  # searched over and over, took minutes
    (60, q.LENGTH, "has no unit"),
    (0.3, q.ANGLE, "has no unit"),
    ("60", q.LENGTH, "has no unit"),
    ("60, 20, 10", q.SIZES, "where 1 are due"),
    ("60 kg", q.LENGTH, '"kg" is not a unit of a length'),
    ("5 Hz", q.SPIN, '"Hz" is not a unit of a rate of turn'),
    ("5 percent", q.ANGLE, "is not a unit of an angle"),
    ("20 degC", q.LENGTH, "is not a unit"),
    ("3 dB", q.ANGLE, "unit"),
    ("60 mmm", q.LENGTH, '"mmm" is no known unit'),
    ("1 m*9**9**8", q.LENGTH, "is no known unit"),
    ("1 m**(9**9**9)", q.LENGTH, "is no known unit"),
    ("1 m*2", q.LENGTH, "is no known unit"),
    ("1 m" + "*m/m" * 40, q.LENGTH, "is no known unit"),
    ("nan mm", q.LENGTH, "not finite"),
    ("-inf mm", q.LENGTH, "not finite"),
    ("1e999 mm", q.LENGTH, "not finite"),
    ("1e308 km", q.LENGTH, "not finite"),
    ("mm", q.LENGTH, "cannot be read"),
    ("", q.LENGTH, "cannot be read"),
    ("1, 2 mm", q.LENGTH, "2 values where 1 are due"),
    (True, q.LENGTH, "no quantity"),
    (["60 mm"], q.LENGTH, "no quantity"),
]


@pytest.mark.parametrize(("value", "kind", "said"), WRONG, ids=[str(c[0]) for c in WRONG])
def test_a_wrong_quantity_is_refused_with_an_example(value, kind, said):
    with pytest.raises(ValueError) as caught:
        q.parse(value, kind)
    assert said in str(caught.value)
    assert kind.example in str(caught.value) or "finite" in str(caught.value)


KINDS = st.sampled_from([q.LENGTH, q.ANGLE, q.TIME, q.SPIN, q.DENSITY, q.FLUX_DENSITY])


@given(st.text(max_size=30), KINDS, st.integers(1, 3))
@example("1 mm**99999999999", q.LENGTH, 1)
@example("1 (((", q.LENGTH, 1)
@example("1 /0", q.LENGTH, 1)
@example("1 m^-", q.LENGTH, 1)
@example("1 µµ", q.LENGTH, 1)
@example("٣ mm", q.LENGTH, 1)
def test_any_text_gives_finite_numbers_or_one_clear_error(text, kind, count):
    try:
        found = q.parse(text, kind, count)
    except ValueError as error:
        said = str(error)
    else:
        said = "finite" if len(found) == count and all(map(math.isfinite, found)) else ""
    assert "write" in said or "finite" in said


@given(
    st.from_regex(r"[+-]?[0-9]{1,3}(\.[0-9]{0,3})?(e[+-]?[0-9]{1,3})? ?[a-zA-Z/^0-9*µ° ()]{0,12}"),
    KINDS,
)
def test_anything_like_a_quantity_gives_a_finite_number_or_one_clear_error(text, kind):
    test_any_text_gives_finite_numbers_or_one_clear_error.hypothesis.inner_test(text, kind, 1)


FINITE = st.floats(allow_nan=False, allow_infinity=False)


@given(st.tuples(FINITE, FINITE, FINITE), st.sampled_from([q.LENGTH, q.SIZES, q.SPIN]))
def test_what_is_written_reads_back_to_the_last_bit(values, kind):
    assert q.parse(q.write(values, kind), kind, 3) == values


USUAL_PAIRS = [(unit, target) for target, units in USUAL.items() for unit in (target, *units)]


@pytest.mark.parametrize(("unit", "target"), USUAL_PAIRS)
def test_usual_units_are_those_of_the_registry_to_the_last_bit(unit, target):
    assert q.scale(unit, target) == q._factor(unit, target)


def test_scenes_and_materials_are_read_without_loading_the_registry():
    """In a process of its own, as another test may have asked for a rare unit."""
    code = (
        "import sys, pathlib, snapsim\n"
        "scenes = [p for p in pathlib.Path('scenarios').glob('*.toml') if p.name.count('.') == 1]\n"
        "assert len(scenes) > 5\n"
        "for path in scenes: snapsim.load_scene(path)\n"
        "assert 'pint' not in sys.modules\n"
    )
    root = Path(__file__).parents[2]
    subprocess.run([sys.executable, "-c", code], cwd=root, check=True)
