"""A scene becomes a system, and the resolved text becomes the very same system again."""

import dataclasses
import re
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from snapsim.errors import InputError
from snapsim.parts.materials import MATERIALS
from snapsim.scenario.advice import advice
from snapsim.scenario.loading import load_scene, scene_from_text
from snapsim.scenario.starter import STARTER

ALL = sorted((Path(__file__).parents[2] / "scenarios").glob("*.toml"))
SCENES = [p for p in ALL if p.suffixes == [".toml"]]


def same(a, b):
    """Equal in every field, arrays to the last bit."""
    if isinstance(a, np.ndarray):
        return a.dtype == b.dtype and np.array_equal(a, b, equal_nan=True)
    if dataclasses.is_dataclass(a):
        return type(a) is type(b) and all(
            same(getattr(a, f.name), getattr(b, f.name)) for f in dataclasses.fields(a)
        )
    if isinstance(a, tuple | list):
        return len(a) == len(b) and all(same(x, y) for x, y in zip(a, b, strict=True))
    if isinstance(a, dict):
        return list(a) == list(b) and all(same(a[k], b[k]) for k in a)
    return a == b


def again(system):
    """The system of the resolved text, with the source that it does not keep."""
    found = scene_from_text(system.resolved, system.file)
    return dataclasses.replace(found, source=system.source, extra=system.extra)


def test_the_scene_becomes_bodies_and_a_start(read):
    system = read()
    magnet, blank, table = system.bodies
    assert [b.name for b in system.bodies] == ["magnet", "blank", "table"]
    assert (magnet.fixed, blank.fixed, table.fixed) == (True, False, True)
    np.testing.assert_array_equal(magnet.magnetised, [0, 0, -1])
    assert blank.material is MATERIALS["grey cast iron"]
    np.testing.assert_array_equal(system.start.pose.position[1], [0, 0, -0.075])
    half = np.radians(35)
    np.testing.assert_allclose(
        system.start.pose.quaternion[1], [np.cos(half), 0, np.sin(half), 0], atol=1e-16
    )
    np.testing.assert_array_equal(system.gravity, [0, 0, -9.80665])
    assert system.duration == 0.5
    assert system.detail == "normal"


def test_a_pair_by_material_overrides_the_default_and_inherits_the_rest(read):
    surfaces = read().surfaces
    assert surfaces.pair(1, 2).friction == 0.5
    assert surfaces.pair(2, 1).restitution == 0.3
    assert surfaces.pair(0, 1).friction == 0.35


def test_a_pair_by_body_names_wins_over_one_by_materials_wherever_it_stands(read, scene_text):
    by_name = '[[contact.pair]]\nbetween = ["blank", "table"]\nfriction = 0.9\n'
    by_material = '[[contact.pair]]\nbetween = ["grey cast iron", "oak"]\nfriction = 0.1\n'
    for text in (by_name + by_material, by_material + by_name):
        assert read(scene_text + text).surfaces.pair(1, 2).friction == 0.9


def test_turns_are_applied_in_order_about_the_worlds_axes(read, scene_text):
    # z by 90 deg takes body x to y; then x by 90 deg takes y to z
    turns = '[{ axis = "z", angle = "90 deg" }, { axis = "x", angle = "90 deg" }]'
    system = read(scene_text.replace('{ axis = "y", angle = "70 deg" }', turns))
    from snapsim.numerics import rotations

    turned = rotations.rotate(system.start.pose.quaternion[1], [1, 0, 0])
    np.testing.assert_allclose(turned, [0, 0, 1], atol=1e-15)


def test_a_quaternion_is_taken_scalar_first_and_brought_to_unit_length(read, scene_text):
    text = scene_text.replace(
        'rotation = { axis = "y", angle = "70 deg" }', 'quaternion = "2, 0, 0, 2"'
    )
    np.testing.assert_allclose(
        read(text).start.pose.quaternion[1], np.sqrt([0.5, 0, 0, 0.5]), atol=1e-16
    )


@pytest.mark.parametrize(
    ("text", "expected"),
    [("+x", [1, 0, 0]), ("-y", [0, -1, 0]), ("z", [0, 0, 1]), ("3, 0, -4", [0.6, 0, -0.8])],
)
def test_a_magnets_direction_is_an_axis_or_a_vector_of_any_length(text, expected, read, scene_text):
    system = read(scene_text.replace('"-z"', f'"{text}"'))
    np.testing.assert_allclose(system.bodies[0].magnetised, expected, atol=1e-16)


def test_a_material_of_the_scene_wins_over_the_built_in_one_by_name(read, scene_text):
    own = '[[material]]\nname = "oak"\ndensity = "600 kg/m^3"\n'
    assert read(scene_text + own).bodies[2].material.density == 600
    assert read().bodies[2].material.density == 700


def test_a_curve_is_kept_point_by_point(read, scene_text):
    own = (
        '[[material]]\nname = "oak"\ndensity = "600 kg/m^3"\n'
        'curve = [["0 A/m", "0 T"], ["0.1 kA/m", "500 mT"], ["1000 A/m", "1.2 T"]]\n'
    )
    curve = read(scene_text + own).bodies[2].material.curve
    np.testing.assert_array_equal(curve.field_strength, [0, 100, 1000])
    np.testing.assert_array_equal(curve.flux_density, [0, 0.5, 1.2])


def test_velocity_and_spin_are_read_in_world_axes(read, scene_text):
    moving = 'position = "0, 0, -75 mm"\nvelocity = "0, 1, 2 m/s"\nspin = "0, 0, 90 deg/s"'
    start = read(scene_text.replace('position = "0, 0, -75 mm"', moving)).start
    np.testing.assert_array_equal(start.velocity[1], [0, 1, 2])
    np.testing.assert_allclose(start.spin[1], [0, 0, np.pi / 2], atol=1e-15)


def test_gravity_can_be_changed(read, scene_text):
    system = read('gravity = "0, 0, -1.62 m/s^2"\n' + scene_text)
    np.testing.assert_array_equal(system.gravity, [0, 0, -1.62])


@pytest.mark.parametrize("scene", SCENES, ids=lambda p: p.stem)
def test_the_scenes_resolve_to_the_very_same_system(scene):
    system = load_scene(scene)
    assert same(again(system), system)


def test_the_starter_scene_resolves_to_the_very_same_system():
    system = scene_from_text(STARTER, "starter.toml")
    assert same(again(system), system)


def test_every_built_in_material_survives_the_resolved_text(read, scene_text):
    for name, material in MATERIALS.items():
        direction = 'magnetised = "+x"\n' if material.is_magnet else ""
        extra = (
            f'[[body]]\nname = "sample"\nmaterial = "{name}"\n{direction}'
            'shape = { kind = "sphere", diameter = "10 mm" }\nposition = "1, 0, 0 m"\n'
        )
        system = read(scene_text + extra)
        assert same(again(system).bodies[-1].material, material)


NAMES = st.text(st.characters(exclude_categories=["C", "Z"]), min_size=1, max_size=12)
NUMBERS = st.floats(-10, 10)


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=40)
@given(
    name=NAMES.filter(lambda n: n not in ("magnet", "blank", "world")),
    title=st.text(st.characters(exclude_categories=["C"]), min_size=1, max_size=40),
    place=st.tuples(NUMBERS, NUMBERS, NUMBERS),
    axis=st.tuples(NUMBERS, NUMBERS, NUMBERS).filter(lambda v: np.linalg.norm(v) > 1e-3),
    angle=st.floats(-1000, 1000),
)
def test_any_names_and_numbers_resolve_to_the_very_same_system(
    name, title, place, axis, angle, scene_text
):
    from snapsim.scenario import toml_text

    document = __import__("tomllib").loads(scene_text)
    document["title"] = title
    document["body"][2]["name"] = name
    document["body"][1]["position"] = ", ".join(map(repr, place)) + " m"
    document["body"][1]["rotation"] = {
        "axis": ", ".join(map(repr, axis)),
        "angle": f"{angle!r} deg",
    }
    document["body"][0]["magnetised"] = ", ".join(map(repr, axis))
    system = scene_from_text(toml_text.write(document), "scene.toml")
    assert system.bodies[2].name == name
    assert system.title == title
    assert same(again(system), system)


def test_magnets_recoil_only_where_the_scene_says_so(read, scene_text):
    assert not read().recoil
    system = read(scene_text + "recoil = true\n")
    assert system.recoil
    assert again(system).recoil
    assert [system.has_cells(b) for b in system.bodies] == [True, True, False]
    assert [read().has_cells(b) for b in system.bodies] == [False, True, False]


def test_a_recoil_that_changes_nothing_is_said(read, scene_text):
    grade = '[[material]]\nname = "NdFeB N45"\ndensity = "7500 kg/m^3"\nremanence = "1.35 T"\n'
    text = scene_text + "recoil = true\n"
    assert not any("recoil" in line for line in advice(read(text)))
    assert any("recoil_permeability above 1" in line for line in advice(read(text + grade)))


def test_restitution_may_fall_above_a_yield_speed_of_all_pairs_or_of_one(read, scene_text):
    slow = scene_text.replace("restitution = 0.3", 'restitution = 0.3\nyield_speed = "20 cm/s"')
    own = scene_text.replace("friction = 0.5", 'friction = 0.5\nyield_speed = "0.5 m/s"')
    assert read(slow).surfaces.pair(0, 1).yield_speed == 0.2
    assert read(slow).surfaces.pair(1, 2).yield_speed == 0.2
    assert read(own).surfaces.pair(0, 1).yield_speed == np.inf
    assert read(read(own).resolved).surfaces.pair(1, 2).yield_speed == 0.5


def test_restitution_may_be_that_of_the_materials_of_all_pairs_or_of_one(read, scene_text):
    metal = scene_text.replace('"oak"', '"aluminium"')
    every = metal.replace("restitution = 0.3", 'restitution = "from materials"')
    assert read(every).surfaces.default.of_materials
    one = metal.replace("friction = 0.5", 'friction = 0.5\nrestitution = "from materials"')
    system = read(one)
    assert not system.surfaces.default.of_materials
    assert system.surfaces.pair(1, 2).of_materials
    back = read(system.resolved)
    assert back.surfaces == system.surfaces
    slow = one.replace("restitution = 0.3", 'restitution = 0.3\nyield_speed = "1 m/s"')
    assert read(read(slow).resolved).surfaces == read(slow).surfaces


@pytest.mark.parametrize(
    ("given", "said"),
    [
        ("restitution = 1.2", "1.2 is no restitution; allowed is a number from 0 to 1"),
        ('restitution = "rubber"', 'or "from materials"'),
        ("restitution = true", "is no restitution"),
        ('restitution = "from materials"\nyield_speed = "1 m/s"', "yield_speed means nothing"),
        ('restitution = "from materials"', "oak: the law is one of metals"),
    ],
)
def test_what_is_no_restitution_is_said(read, scene_text, given, said):
    with pytest.raises(InputError, match="contact.*" + re.escape(said)):
        read(scene_text.replace("restitution = 0.3", given))
