"""Whatever is wrong in a scene gets one line: file, key, what is wrong, what is allowed."""

import pytest

from snapsim.errors import InputError
from snapsim.scenario.loading import load_scene

MISTAKES = {
    "missing unit": (
        '"0, 0, -75 mm"',
        '"0, 0, -75"',
        ["body.blank.position", "no unit", "60 mm"],
    ),
    "bare number": (
        'duration = "0.5 s"',
        "duration = 0.5",
        ["run.duration", "no unit", '"1.5 s"'],
    ),
    "no flag": (
        '[run]\nduration = "0.5 s"',
        '[run]\nduration = "0.5 s"\nrecoil = "yes"',
        ["run.recoil", "true"],
    ),
    "wrong dimension": ('"18 mm"', '"18 kg"', ["body.blank.shape.length", '"kg"', "a length"]),
    "unknown key": (
        'material = "oak"',
        'materail = "oak"',
        ["body.table.materail", "not a known key", 'did you mean "material"?', "velocity"],
    ),
    "unknown table": ("[contact]", "[contakt]", ["contakt", 'did you mean "contact"?']),
    "unknown key in a shape": (
        'length = "18 mm"',
        'lenght = "18 mm"',
        ["body.blank.shape.lenght", 'did you mean "length"?', "outer_diameter"],
    ),
    "wrong name in a pair": (
        '["blank", "oak"]',
        '["blnk", "oak"]',
        ["contact.pair[1].between", '"blnk" is not known', 'did you mean "blank"?', "magnet"],
    ),
    "pair of one": (
        '["blank", "oak"]',
        '["blank"]',
        ["contact.pair[1].between[2]", "is missing, and must be given"],
    ),
    "point of one number": (
        "[contact]",
        '[[material]]\nname = "m"\ndensity = "1 kg/m^3"\ncurve = [["0 A/m"]]\n[contact]',
        ["material.m.curve[1][2]", "is missing, and must be given"],
    ),
    "pair of a body with itself": (
        '["blank", "oak"]',
        '["blank", "blank"]',
        ["contact.pair[1].between", "twice"],
    ),
    "zero size": ('"120 x 80 x 40 mm"', '"120 x 0 x 40 mm"', ["body.magnet.shape.size", "0"]),
    "negative size": ('"18 mm"', '"-18 mm"', ["body.blank.shape.length", "greater than 0"]),
    "inner not below outer": (
        '"26 mm"',
        '"110 mm"',
        ["body.blank.shape.inner_diameter", "smaller than outer_diameter"],
    ),
    "two sizes for three": (
        '"120 x 80 x 40 mm"',
        '"120 x 80 mm"',
        ["body.magnet.shape.size", "2 values where 3 are due"],
    ),
    "NaN as a quantity": ('"18 mm"', '"nan mm"', ["body.blank.shape.length", "finite"]),
    "NaN as a number": ("restitution = 0.3", "restitution = nan", ["contact.restitution", "nan"]),
    "infinity": ("friction = 0.5", "friction = inf", ["contact.pair[1].friction", "inf"]),
    "restitution above 1": (
        "restitution = 0.3",
        "restitution = 1.3",
        ["contact.restitution", "1.3", "a number from 0 to 1"],
    ),
    "negative friction": ("friction = 0.5", "friction = -0.5", ["contact.pair[1].friction", "0"]),
    "number as text": (
        "restitution = 0.3",
        'restitution = "0.3"',
        ["contact.restitution", "number"],
    ),
    "magnet without direction": (
        'magnetised = "-z"',
        "",
        ["body.magnet.magnetised", "missing", "NdFeB N45", "-z"],
    ),
    "direction on what is no magnet": (
        'material = "oak"',
        'material = "oak"\nmagnetised = "+x"',
        ["body.table.magnetised", "oak", "no magnet"],
    ),
    "zero direction": ('"-z"', '"0, 0, 0"', ["body.magnet.magnetised", "zero length"]),
    "no direction": ('"-z"', '"up"', ["body.magnet.magnetised", '"up"', "0.1, 0, 1"]),
    "zero quaternion": (
        'rotation = { axis = "y", angle = "70 deg" }',
        'quaternion = "0, 0, 0, 0"',
        ["body.blank.quaternion", "zero length"],
    ),
    "rotation and quaternion": (
        'rotation = { axis = "y", angle = "70 deg" }',
        'rotation = { axis = "y", angle = "70 deg" }\nquaternion = "1, 0, 0, 0"',
        ["body.blank", "both rotation and quaternion"],
    ),
    "rotation about nothing": ('axis = "y"', 'axis = "0,0,0"', ["body.blank.rotation.axis"]),
    "unknown material": (
        '"grey cast iron"',
        '"gray cast iron"',
        ["body.blank.material", 'did you mean "grey cast iron"?', "oak"],
    ),
    "unknown shape": (
        'kind = "ring"',
        'kind = "torus"',
        ["body.blank.shape", '"torus" is not known', "cylinder"],
    ),
    "shape without kind": ('kind = "ring", ', "", ["body.blank.shape", "kind"]),
    "name used twice": ('name = "table"', 'name = "blank"', ["body.blank.name", "twice"]),
    "empty name": ('name = "table"', 'name = ""', ["body[3].name", "empty"]),
    "name on two lines": ('name = "table"', 'name = "a\\nb"', ["name", "printable"]),
    "body called world": ('name = "table"', 'name = "world"', ["body.world.name", "surroundings"]),
    "missing position": ('position = "0, 0, -75 mm"', "", ["body.blank.position", "missing"]),
    "fixed and moving": (
        'position = "0, 0, 20 mm"',
        'position = "0, 0, 20 mm"\nvelocity = "1, 0, 0 m/s"',
        ["body.magnet", "fixed and has a velocity"],
    ),
    "fixed not a flag": ("fixed = true", 'fixed = "yes"', ["body.magnet.fixed", '"yes"']),
    "no title": ('title = "Invented scene for the tests"', "", ["title", "missing"]),
    "unknown detail": (
        "[run]",
        '[run]\ndetail = "coarse"',
        ["run.detail", "coarse", "draft", "fine"],
    ),
    "run too long": ('"0.5 s"', '"5 hour"', ["run.duration", "600 s"]),
    "zero duration": ('"0.5 s"', '"0 s"', ["run.duration", "greater than 0"]),
    "table where text is due": (
        'material = "oak"',
        "material = { a = 1 }",
        ["body.table.material"],
    ),
    "no table": ('{ axis = "y", angle = "70 deg" }', '"70 deg"', ["body.blank.rotation"]),
    "not TOML": ("[run]", "[run", ["no valid TOML", "line"]),
}


@pytest.mark.parametrize("mistake", MISTAKES)
def test_a_mistake_is_named_in_one_line(mistake, complaint):
    old, new, said = MISTAKES[mistake]
    line = complaint(old, new)
    for words in said:
        assert words in line, line


MATERIAL = """
[[material]]
name = "oak"
density = "700 kg/m^3"
"""

BAD_MATERIALS = {
    "field not rising": (
        'curve = [["0 A/m", "0 T"], ["100 A/m", "0.5 T"], ["100 A/m", "0.6 T"]]',
        ["material.oak.curve", "row 3", "must exceed 100 A/m"],
    ),
    "flux falling": (
        'curve = [["0 A/m", "0 T"], ["100 A/m", "0.5 T"], ["200 A/m", "0.4 T"]]',
        ["material.oak.curve", "row 3", "must exceed 0.5 T"],
    ),
    "flatter than vacuum": (
        'curve = [["0 A/m", "0 T"], ["100 A/m", "0.5 T"], ["1 MA/m", "0.6 T"]]',
        ["row 3", "mu_0"],
    ),
    "not from zero": ('curve = [["1 A/m", "0 T"], ["100 A/m", "0.5 T"]]', ["row 1", "0 A/m, 0 T"]),
    "one row": ('curve = [["0 A/m", "0 T"]]', ["material.oak.curve", "two rows"]),
    "impossible polarisation": ('curve = [["0 A/m", "0 T"], ["100 A/m", "3 T"]]', ["row 2", "2.5"]),
    "unit missing in a row": (
        'curve = [["0 A/m", "0 T"], ["100", "1 T"]]',
        ["material.oak.curve[2]", "no unit", "kA/m"],
    ),
    "saturation alone": ('saturation = "1.6 T"', ["material.oak", "needs susceptibility"]),
    "curve and susceptibility": (
        'susceptibility = 5\ncurve = [["0 A/m", "0 T"], ["100 A/m", "1 T"]]',
        ["material.oak", "both curve and susceptibility"],
    ),
    "magnet and soft": ('susceptibility = 5\nremanence = "1 T"', ["material.oak", "at once"]),
    "coercivity without remanence": ('coercivity = "900 kA/m"', ["material.oak", "only magnets"]),
    "negative susceptibility": ("susceptibility = -1", ["material.oak.susceptibility", "0"]),
    "Poisson's ratio": ("poissons_ratio = 0.5", ["material.oak.poissons_ratio", "below 0.5"]),
    "remanence": ('remanence = "4 T"', ["material.oak.remanence", "2.5 T"]),
    "negative modulus": ('youngs_modulus = "-1 GPa"', ["material.oak.youngs_modulus", "0"]),
    "recoil permeability": (
        'remanence = "1 T"\nrecoil_permeability = 0.5',
        ["material.oak.recoil_permeability", "1 to 10"],
    ),
}


@pytest.mark.parametrize("mistake", BAD_MATERIALS)
def test_a_bad_material_is_named_in_one_line(mistake, read, scene_text):
    line, said = BAD_MATERIALS[mistake]
    with pytest.raises(InputError) as caught:
        read(scene_text + MATERIAL + line)
    for words in said:
        assert words in str(caught.value), str(caught.value)


JOINT = """
[[joint]]
kind = "string"
between = ["blank", "{other}"]
at = ["0, 0, 55 mm", "0, 0, -10 mm"]
length = "140 mm"
"""


def test_a_wrong_name_in_a_joint_names_the_known_ones(read, scene_text):
    with pytest.raises(InputError, match=r'joint\[1\]\.between: "tabel" is not known.*"table"'):
        read(scene_text + JOINT.format(other="tabel"))


def test_a_hand_on_no_body_names_the_known_ones(read, scene_text):
    with pytest.raises(InputError, match=r'hand.thumb.body: "magnit" is not known.*"magnet"'):
        read(scene_text + '[[hand]]\nname = "thumb"\nbody = "magnit"\nface = "-z"\n')


def test_a_scene_file_that_is_not_there_is_one_line(tmp_path):
    with pytest.raises(InputError, match="none.toml: cannot be read: No such file"):
        load_scene(tmp_path / "none.toml")


def test_a_directory_is_no_scene(tmp_path):
    with pytest.raises(InputError, match="cannot be read: Is a directory"):
        load_scene(tmp_path)


def test_a_binary_file_is_no_scene(tmp_path):
    (tmp_path / "scene.toml").write_bytes(b"\x89HDF\r\n\x1a\n\xff\xfe")
    with pytest.raises(InputError, match="no text file"):
        load_scene(tmp_path / "scene.toml")
