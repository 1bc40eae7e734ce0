"""A scene in code is the scene of the file: the same keys, the same system, the same errors."""

import inspect

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
    "Frame": SHAPE_TABLES["frame"],
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
    ],
)
def test_what_is_wrong_is_one_line_that_names_it(make, says):
    with pytest.raises(snapsim.InputError) as raised:
        make()
    assert says in str(raised.value)
    assert "\n" not in str(raised.value)
