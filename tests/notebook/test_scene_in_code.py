"""A scene in code is the scene of the file: the same keys, the same system, the same errors."""

import inspect

import numpy as np
import pint
import pytest

import snapsim
from snapsim.scenario import in_code
from snapsim.scenario.body import BodyDescription
from snapsim.scenario.contact import ContactDescription, PairDescription
from snapsim.scenario.hand import HandDescription
from snapsim.scenario.joint import JOINT_TABLES, Waypoint
from snapsim.scenario.rotation import TurnDescription
from snapsim.scenario.shapes import SHAPE_TABLES, CompoundMember

TABLES = {
    "Body": BodyDescription,
    "Turn": TurnDescription,
    "Box": SHAPE_TABLES["box"],
    "Cylinder": SHAPE_TABLES["cylinder"],
    "Ring": SHAPE_TABLES["ring"],
    "Sphere": SHAPE_TABLES["sphere"],
    "HexNut": SHAPE_TABLES["hex_nut"],
    "Prism": SHAPE_TABLES["prism"],
    "Mesh": SHAPE_TABLES["mesh"],
    "Compound": SHAPE_TABLES["compound"],
    "Member": CompoundMember,
    "Finger": HandDescription,
    "Contact": ContactDescription,
    "Pair": PairDescription,
}


@pytest.mark.parametrize("name", TABLES)
def test_a_call_takes_the_keys_of_its_table(name):
    taken = set(inspect.signature(getattr(snapsim, name)).parameters)
    assert taken == set(TABLES[name].model_fields) - {"kind"}


def test_no_kind_of_shape_is_left_out():
    assert {t.__name__ for t in SHAPE_TABLES.values()} <= {t.__name__ for t in TABLES.values()}


def test_a_stop_of_a_path_takes_what_a_waypoint_has():
    taken = set(inspect.signature(in_code.Stop).parameters)
    assert taken == set(Waypoint.model_fields) - {"quaternion"}
    turned = set(inspect.signature(snapsim.Turn).parameters)
    assert turned == set(TurnDescription.model_fields)


def gear_blank(**more):
    size = pint.get_application_registry().Quantity(110.0, "mm")
    return snapsim.Scene(
        [
            snapsim.Body(
                "magnet",
                snapsim.Box("120 x 80 x 40 mm"),
                "NdFeB N45",
                "0, 0, 20 mm",
                magnetised="-z",
                fixed=True,
            ),
            snapsim.Body(
                "blank",
                snapsim.Ring(size, "26 mm", "18 mm"),
                "grey cast iron",
                "0, 0, -127.082467 mm",
                rotation=snapsim.Turn("y", "50 deg"),
            ),
            snapsim.Body(
                "table", snapsim.Box("500 x 400 x 30 mm"), "oak", "0, 0, -190 mm", fixed=True
            ),
        ],
        "Cast-iron gear blank lifted on edge under a block magnet: it snaps",
        note=snapsim.example("gear-blank").note,
        contact=snapsim.Contact(0.3, 0.35),
        duration="1 s",
        **more,
    )


def test_it_equals_the_scene_of_the_file():
    scene, there = gear_blank(), snapsim.example("gear-blank")
    assert scene == there
    assert hash(scene) == hash(there)
    assert scene != gear_blank(detail="fine")
    assert scene != snapsim.example("gear-blank", ['body.magnet.position.z="20.000001 mm"'])


def test_its_source_reads_back_as_itself(tmp_path):
    (tmp_path / "scene.toml").write_text(gear_blank().source)
    assert snapsim.load_scene(tmp_path / "scene.toml") == gear_blank()


@pytest.mark.parametrize("kind", JOINT_TABLES)
def test_each_kind_of_joint_is_made(kind):
    keys = dict(JOINT_TABLES[kind].model_json_schema()["examples"][0])
    joint = snapsim.Joint(**keys)
    part = snapsim.Body("part", snapsim.Sphere("20 mm"), "low-carbon steel", "0, 0, -20 mm")
    at = ["0, 0, 20 mm", "0, 0, 0 mm"]
    scene = snapsim.Scene([part], joints=[snapsim.Joint(**(keys | {"at": at}))])
    assert len(scene.joints) == 1
    assert joint.table["kind"] == kind


def test_equal_tables_are_equal_and_hash_alike():
    assert snapsim.Box("1 x 2 x 3 mm") == snapsim.Box("1 x 2 x 3 mm")
    assert len({snapsim.Box("1 x 2 x 3 mm"), snapsim.Box("1 x 2 x 3 mm")}) == 1
    assert snapsim.Box("1 x 2 x 3 mm") != snapsim.Box("1 x 2 x 4 mm")


@pytest.mark.parametrize(
    ("make", "says"),
    [
        (lambda: snapsim.Box("1 x 2 mm"), "Box: size"),
        (lambda: snapsim.Ring(110, "26 mm", "18 mm"), "outer_diameter: the number 110 has no unit"),
        (lambda: snapsim.Scene([3]), "snapsim.Body"),
        (lambda: snapsim.Joint("rope", ("a", "b"), []), "allowed: string, hinge"),
        (lambda: snapsim.Scene([]), "body"),
        (lambda: snapsim.plot(3), "what has"),
        (lambda: snapsim.view(3), "neither a scene nor a run"),
        (lambda: snapsim.field(gear_blank(), [1.0, 2.0]), "rows of 3"),
        (lambda: snapsim.forces(gear_blank(), "blnk", [0, 0, 0]), 'did you mean "blank"'),
        (lambda: snapsim.forces(gear_blank(), "blank", [0, 0, 0], [0, 0, 0, 0]), "no rotation"),
        (lambda: snapsim.force(gear_blank())["x"], "allowed: magnet, blank, table"),
    ],
)
def test_what_is_wrong_is_one_line_that_names_it(make, says):
    with pytest.raises(snapsim.InputError) as raised:
        make()
    assert says in str(raised.value)
    assert "\n" not in str(raised.value)


def test_nothing_private_is_offered_and_every_hint_resolves():
    import typing

    names = dir(snapsim)
    assert [n for n in names if n.startswith("_")] == ["__version__"]
    assert set(snapsim.__all__) <= set(names)
    functions = [getattr(snapsim, n) for n in snapsim.__all__]
    hinted = [f for f in functions if inspect.isfunction(f)]
    assert len(hinted) > 30
    for function in hinted:
        assert "return" in typing.get_type_hints(function)


def test_many_poses_at_once_are_each_pose_apart():
    scene = gear_blank(detail="draft")
    at = scene.start.pose.position[1] + [[0, 0, 0], [0, 0, 0.01]]
    turn = scene.start.pose.quaternion[1]
    series = snapsim.forces(scene, "blank", at, [turn, 2 * turn])
    alone = snapsim.force(scene)["blank"].force
    # both solved to a bound of 1e-6 or better of the energy: forces to about 1e-3
    assert series.force[0, 1] == pytest.approx(alone, rel=3e-3, abs=1e-2)
    assert series.force[1, 1, 2] > alone[2]


def test_the_field_of_a_block_magnet_alone_is_its_closed_form():
    magnet = gear_blank().bodies[0]
    block = snapsim.Box("120 x 80 x 40 mm")
    still = {"magnetised": "+z", "fixed": True}
    alone = snapsim.Scene([snapsim.Body("magnet", block, "NdFeB N45", "0, 0, 0 mm", **still)])
    half, z = np.array([0.06, 0.04]), np.array([0.03, 0.05])

    def angle(d):
        return np.arctan(half.prod() / (d * np.sqrt(half @ half + d * d)))

    # on the axis of a block, two charged faces: B = J / pi (angle(z - h) - angle(z + h)), h half
    # its height (Furlani, Permanent Magnet and Electromechanical Devices, 2001, sec. 4.3; from
    # memory)
    expected = (
        magnet.material.remanence / np.pi * np.array([angle(x - 0.02) - angle(x + 0.02) for x in z])
    )
    found = snapsim.field(alone, [[0, 0, x] for x in z])
    assert found[:, 2] == pytest.approx(expected, rel=1e-9)
