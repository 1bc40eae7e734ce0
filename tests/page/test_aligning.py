"""Laying a part flat on another's face, bringing it before a pole, and a dropped mesh."""

from __future__ import annotations

import tomllib
from pathlib import Path

import numpy as np
import pytest
import trimesh
from conftest import SCENE

from snapsim.errors import InputError
from snapsim.landscape.place import Place
from snapsim.mechanics.contact import ContactGeometry
from snapsim.numerics import rotations
from snapsim.page.aligning import before_pole, faces, laid_flat
from snapsim.page.bench import Bench, Source
from snapsim.page.dropped_mesh import DroppedMesh, plain_name
from snapsim.parts.states import Pose
from tests.fuzz.asking import NoLane


def bench_of(text: str = SCENE) -> Bench:
    return Bench(Source(text, "disc.toml"), NoLane())


@pytest.mark.parametrize("seed", range(4))
def test_a_disc_from_any_pose_lies_flat_on_the_face_it_is_nearest_to(seed: int) -> None:
    random = np.random.default_rng(seed)
    bench = bench_of()
    turn = rotations.normalise(random.normal(size=4))
    height = float(random.choice([-0.035, -0.072]))
    start = Place(np.array([*random.uniform(-0.02, 0.02, 2), height]), turn)
    found = laid_flat(bench.system, bench.part, start)
    axis = rotations.rotate(found.quaternion, np.array([0.0, 0.0, 1.0]))
    assert abs(axis[2]) == pytest.approx(1.0, abs=1e-9)
    # nearer to the pole's lower face (z = 0) or to the table's upper one (z = -110 mm)
    due = -0.006 if height > -0.055 else -0.104
    assert found.position[2] == pytest.approx(due, abs=1e-6)
    assert found.position[:2] == pytest.approx(start.position[:2], abs=1e-9)
    old, new = (rotations.rotate(q, np.array([0.0, 0.0, 1.0])) for q in (turn, found.quaternion))
    assert np.degrees(np.arccos(np.clip(abs(old @ new), 0, 1))) <= 90 + 1e-9  # never upside down
    system, pose = bench.system, bench.system.start.pose
    position, quaternion = pose.position.copy(), pose.quaternion.copy()
    position[1], quaternion[1] = found.position, found.quaternion
    gaps = ContactGeometry(system.bodies, system.surfaces).gaps(Pose(position, quaternion))
    assert min(gaps) > -1e-8


def test_faces_are_those_of_the_solid_and_a_round_side_is_none() -> None:
    bench = bench_of()
    counts = {"box": 6, "cylinder": 2, "ring": 2, "sphere": 0, "hex_nut": 8, "frame": 10}
    for kind, count in counts.items():
        bench.reshape("disc", kind)
        assert len(faces(bench.system.bodies[1], bench.pose.place)) == count, kind
    bench.reshape("disc", "sphere")
    with pytest.raises(InputError, match="no flat face"):
        bench.lay_flat()


def test_before_the_poles_middle_the_height_or_the_gap_is_kept() -> None:
    bench = bench_of()
    place = Place(np.array([0.03, -0.02, -0.06]), bench.pose.place.quaternion)
    found = before_pole(bench.system, bench.part, place)
    assert found.position == pytest.approx([0, 0, -0.06], abs=1e-12)
    beside = Place(np.array([0.12, 0.0, 0.02]), rotations.IDENTITY)  # level with the magnet
    found = before_pole(bench.system, bench.part, beside)
    assert found.position[:2] == pytest.approx([0, 0], abs=1e-9)
    assert found.position[2] == pytest.approx(0.03 + 0.05 + 0.006, abs=1e-6)  # its gap of 50 mm
    with pytest.raises(InputError, match="no magnet"):
        bench_of(SCENE.replace('magnetised = "-z"', "").replace("NdFeB N45", "oak")).to_pole()


def test_something_in_the_way_is_told_and_nothing_moves() -> None:
    wall = """[[body]]
name = "wall"
shape = { kind = "box", size = "4 x 200 x 60 mm" }
material = "oak"
position = "24, 0, -80 mm"
fixed = true
[run]"""
    bench = bench_of(SCENE.replace("[run]", wall))
    bench.move(bench.pose.with_field("z", "-95"))
    before = bench.toml()
    with pytest.raises(InputError, match="in the way"):
        bench.lay_flat()
    assert bench.toml() == before


def dropped(folder: Path, name: str = "part.stl", size: float = 30.0) -> DroppedMesh:
    path = folder / f"mesh-{name}"
    trimesh.creation.box((size, 20, 10)).export(path)
    return DroppedMesh(name, str(path), (size, 20.0, 10.0), 12)


def test_a_dropped_mesh_is_a_file_beside_the_scene_to_a_reader_and_computes_at_once(
    tmp_path: Path,
) -> None:
    bench = bench_of()
    bench.add_mesh(dropped(tmp_path), "mm")
    shape = tomllib.loads(bench.toml())["body"][-1]["shape"]
    assert shape == {"kind": "mesh", "file": "part.stl", "unit": "mm"}
    assert bench.part_name == "part"
    assert bench.system.bodies[bench.part].mass == pytest.approx(30 * 20 * 10e-9 * 7870, rel=0.01)
    assert str(tmp_path) in bench.given()["text"]  # what a worker reads finds it
    assert bench.view()["meshes"] == {"part.stl": "files/mesh-part.stl"}
    other = tmp_path / "other"
    other.mkdir()
    bench.add_mesh(dropped(other, size=3.0), "cm")  # another file of that name
    assert tomllib.loads(bench.toml())["body"][-1]["shape"]["file"] == "part-2.stl"
    bench.undo()
    bench.undo()
    assert bench.view()["meshes"] == {}
    bench.redo()
    assert bench.part_name == "part"


def test_a_mesh_of_no_such_unit_or_size_changes_nothing(tmp_path: Path) -> None:
    bench = bench_of()
    before, mesh = bench.toml(), dropped(tmp_path)
    for unit in ("kg", "", "m", "nm"):
        with pytest.raises(InputError):
            bench.add_mesh(mesh, unit)
    flat = tmp_path / "flat.stl"
    trimesh.Trimesh([[0, 0, 0], [30, 0, 0], [0, 20, 0]], [[0, 1, 2]]).export(flat)
    with pytest.raises(InputError, match="no solid"):
        bench.add_mesh(DroppedMesh("flat.stl", str(flat), (30, 20, 0), 1), "mm")
    assert bench.toml() == before
    assert bench.meshes == {}


def test_names_of_dropped_files_are_plain_names_beside_a_scene() -> None:
    assert plain_name("../../etc/a part.STL") == "a part.stl"
    assert plain_name('C:\\x\\ring".obj') == "ring_.obj"
    for name in ("", "a.exe", "stl", "a.stl/", "..", ".stl"):
        with pytest.raises(InputError):
            plain_name(name)
