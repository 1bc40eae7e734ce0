"""Prisms, mesh files and compounds in scenes: read, resolved to the same, refused in a line."""

import struct

import numpy as np
import pytest
import trimesh

from snapsim.analysis.inventory import inventory
from snapsim.errors import InputError
from snapsim.parts.shapes import Compound, Mesh, Prism
from snapsim.scenario.advice import advice
from snapsim.scenario.loading import load_scene, scene_from_text

SCENE = """
title = "Invented scene of one drawn part"
[[body]]
name = "part"
shape = {shape}
material = "low-carbon steel"
position = "10, 20, 30 mm"
"""
CORNERS = "0, 0 mm", "60, 0 mm", "60, 10 mm", "10, 10 mm", "10, 40 mm", "0, 40 mm"
PRISM = f'{{ kind = "prism", points = {list(CORNERS)}, length = "20 mm" }}'.replace("'", '"')
MESH = '{ kind = "mesh", file = "part.stl", unit = "mm" }'
BOX = 'shape = { kind = "box", size = "20 x 20 x 10 mm" }'
COMPOUND = '{ kind = "compound", members = [' + (
    f'{{ {BOX}, position = "1, 2, 5 mm" }}, '
    f'{{ {BOX}, position = "1, 2, 20 mm", rotation = {{ axis = "x", angle = "90 deg" }} }}] }}'
)


def block():
    surface = trimesh.creation.box((40, 30, 20))
    surface.apply_translation([100, 0, 0])
    return surface


@pytest.fixture
def scene(tmp_path):
    """Writes a scene of one part beside part.stl and loads it."""

    def write(shape, surface=None, name="part.stl"):
        if surface is not None:
            surface.export(tmp_path / name)
        path = tmp_path / "scene.toml"
        path.write_text(SCENE.replace("{shape}", shape))
        return load_scene(path)

    write.folder = tmp_path
    return write


def test_a_prism_is_read(scene):
    (part,) = scene(PRISM).bodies
    assert isinstance(part.shape, Prism)
    assert part.shape.volume == pytest.approx(900e-6 * 0.02, rel=1e-12)


@pytest.mark.parametrize("suffix", ["stl", "obj", "ply"])
def test_a_mesh_file_is_read_in_its_unit(scene, suffix):
    system = scene(MESH.replace("stl", suffix), block(), f"part.{suffix}")
    (part,) = system.bodies
    assert isinstance(part.shape, Mesh)
    # 32-bit numbers in STL: 6e-8
    assert part.shape.volume == pytest.approx(40e-3 * 30e-3 * 20e-3, rel=1e-6)
    assert part.shape.drawn_centre == pytest.approx([0.1, 0, 0], abs=1e-8)
    # the position is the centre of mass, wherever the file has it
    np.testing.assert_array_equal(system.start.pose.position[0], [0.01, 0.02, 0.03])


def test_an_inch_is_an_inch(scene):
    found = scene(MESH.replace("mm", "inch"), block()).bodies[0].shape
    assert found.extents == pytest.approx(np.array([20, 15, 10]) * 0.0254, rel=1e-6)


def test_a_compounds_members_are_placed_and_turned(scene):
    shape = scene(COMPOUND).bodies[0].shape
    assert isinstance(shape, Compound)
    assert shape.drawn_centre == pytest.approx([0.001, 0.002, 0.0125], abs=1e-15)
    assert shape.extents == pytest.approx([0.01, 0.01, 0.0175], abs=1e-12)


@pytest.mark.parametrize(
    "shape",
    [
        PRISM,
        MESH,
        COMPOUND,
        '{ kind = "compound", members = [{ shape = '
        + MESH
        + ', rotation = { axis = "z", angle = "30 deg" } }] }',
    ],
    ids=["prism", "mesh", "compound", "mesh in compound"],
)
def test_the_resolved_text_needs_no_file_and_gives_the_same_part(scene, shape):
    system = scene(shape, block())
    assert "part.stl" not in system.resolved
    (scene.folder / "part.stl").unlink()
    again = scene_from_text(system.resolved, "run.h5").bodies[0].shape
    first = system.bodies[0].shape
    for one, other in zip(first.surface(16), again.surface(16), strict=True):
        np.testing.assert_array_equal(one, other)
    np.testing.assert_array_equal(first.drawn_centre, again.drawn_centre)


def test_check_says_where_the_centre_of_mass_is_in_the_drawing(scene):
    system = scene(MESH, block())
    said = inventory(system, [])["bodies"]["part"]
    assert said["centre_as_drawn_m"] == pytest.approx([0.1, 0, 0], abs=1e-8)
    assert said["cells"] > 100


def test_an_inside_out_mesh_is_turned_and_said_so(scene):
    surface = block()
    surface.invert()
    system = scene(MESH, surface)
    assert system.bodies[0].shape.was_turned
    assert any("inside out" in line for line in advice(system))


def test_a_mesh_in_an_unlikely_unit_is_questioned(scene):
    system = scene(MESH.replace('"mm"', '"m"'), block())
    assert any("is the unit of its file right?" in line for line in advice(system))


def line_of(scene, shape, surface=None):
    with pytest.raises(InputError) as caught:
        scene(shape, surface)
    line = str(caught.value)
    assert "\n" not in line
    assert "scene.toml: body.part.shape" in line
    assert caught.value.exit_status == 2
    return line


@pytest.mark.parametrize(
    ("change", "complaint"),
    [
        (lambda m: m.update_faces(np.arange(len(m.faces)) > 0), "is open: 3 edges"),
        (lambda m: m.apply_scale([1, 1, 0]), "no thickness"),
        (lambda m: m.faces.__setitem__(0, m.faces[0][::-1]), "turned both ways"),
    ],
    ids=["open", "flat", "mixed"],
)
def test_an_unsound_mesh_is_one_line(scene, change, complaint):
    surface = block()
    surface.process = None
    change(surface)
    line = line_of(scene, MESH, surface)
    assert "shape.file: " in line
    assert complaint in line


def test_a_mesh_of_too_many_triangles_is_refused_with_the_limit(scene):
    line = line_of(scene, MESH, trimesh.creation.icosphere(5, 20))
    assert "20480 triangles; at most 5000" in line


@pytest.mark.parametrize(
    ("name", "content", "complaint"),
    [
        ("part.stl", b"", "cut short: 0 bytes, an STL file has at least 84"),
        ("part.stl", b"no mesh at all", "part.stl"),
        (
            "part.stl",
            bytes(80) + struct.pack("<I", 1000) + bytes(30),
            "cut short: 114 bytes, where 50084 are due for its 1000 triangles",
        ),
        (
            "part.stl",
            bytes(80) + struct.pack("<I", 1) + bytes(60),
            "damaged: 144 bytes, where 134 are due for its 1 triangles",
        ),
        ("part.stl", b"solid a\nfacet normal 0 0 1\nouter loop\nvertex 0", '"endsolid" is missing'),
        ("part.ply", b"ply\nformat ascii 1.0\nelement vertex 3\nend_header\n1", "part.ply"),
        ("part.obj", b"\x00\xff\xfe", "part.obj"),
        ("part.glb", b"glTF", "no mesh file; allowed: .stl, .obj, .ply, .step, .stp"),
    ],
    ids=["empty", "text", "cut short", "longer", "cut text", "cut ply", "binary obj", "glb"],
)
def test_an_unreadable_mesh_file_is_one_line(scene, name, content, complaint):
    (scene.folder / name).write_bytes(content)
    assert complaint in line_of(scene, MESH.replace("part.stl", name))


ASCII_PLY = """ply
format ascii 1.0
element vertex 4
property float x
property float y
property float z
element face 4
property list uchar int vertex_indices
end_header
0 0 0
1 0 0
0 1 0
{last}
3 0 2 1
3 0 1 {corner}
3 1 2 3
3 2 0 3
"""


@pytest.mark.parametrize(
    ("last", "corner", "complaint"),
    [
        ("0 0 1", "9", "is damaged: a triangle names corner 9, and there are 4"),
        ("0 0 1", "-2", "is damaged: a triangle names corner -2, and there are 4"),
        ("0 0 nan", "3", "is damaged: a corner is not finite"),
    ],
)
def test_a_mesh_whose_triangles_lead_nowhere_is_one_line(scene, last, corner, complaint):
    (scene.folder / "part.ply").write_text(ASCII_PLY.format(last=last, corner=corner))
    assert complaint in line_of(scene, MESH.replace("part.stl", "part.ply"))


def test_a_missing_mesh_file_is_one_line(scene):
    assert '"part.stl" is not there' in line_of(scene, MESH)


@pytest.mark.parametrize(
    ("shape", "complaint"),
    [
        (MESH.replace('"mm"', '"kg"'), '"kg" is no unit of length'),
        (MESH.replace(', unit = "mm"', ""), "needs the unit"),
        ('{ kind = "mesh", unit = "mm" }', "needs a file"),
        (
            '{ kind = "mesh", corners = ["0, 0, 0 mm"], triangles = [[0, 1, 2]] }',
            "not there; 0 to 0",
        ),
        ('{ kind = "mesh", corners = ["0, 0, 0 mm"] }', "without triangles"),
        (PRISM.replace("60, 10 mm", "5, -9 mm"), "crosses or touches itself"),
        (PRISM.replace('"20 mm"', '"0 mm"'), "greater than 0"),
        (COMPOUND.replace("1, 2, 20 mm", "1, 2, 19 mm"), "members 1 and 2 overlap by 1 mm"),
        (COMPOUND.replace("1, 2, 20 mm", "1, 2, 25 mm"), "member 2 is 5 mm away"),
        (COMPOUND.replace('"1, 2, 5 mm"', '"1, 2, 5"'), "unit"),
        ('{ kind = "compound", members = [] }', "at least 1"),
        (
            '{ kind = "compound", members = [{ shape = { kind = "compound", members = [] } }] }',
            '"compound" is not known',
        ),
    ],
)
def test_an_unsound_shape_is_one_line(scene, shape, complaint):
    assert complaint in line_of(scene, shape, block())


def test_members_within_a_glue_line_are_joined(scene):
    assert scene(COMPOUND.replace("1, 2, 20 mm", "1, 2, 20.05 mm")).bodies[0].shape.volume > 0
