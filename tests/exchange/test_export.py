"""Runs and scenes for other tools, each file read back by a library of its own kind."""

import csv
import json
import struct

import numpy as np
import pyarrow.parquet
import pytest
import pyvista as pv
import trimesh
import vtk
from pxr import Usd, UsdGeom

import snapsim
from snapsim.render.interpolation import sample

NUDGED = 2e-6
"""Frames at one time are one step of single precision apart; a part at 10 m/s goes a micrometre."""


@pytest.fixture(scope="module")
def run(tmp_path_factory):
    """A block dropped on a table and a still magnet beside: blows, a free part and two poles."""
    body, box = snapsim.Body, snapsim.Box
    return snapsim.release(
        snapsim.Scene(
            [
                body("block", box("30 x 20 x 10 mm"), "grey cast iron", "0, 0, 20 mm",
                     rotation=snapsim.Turn("y", "30 deg"), spin="0, 0, 300 deg/s"),
                body("table", box("300 x 300 x 20 mm"), "oak", "0, 0, -10 mm", fixed=True),
                body("magnet", box("20 x 20 x 10 mm"), "NdFeB N45", "0, 120, 5 mm",
                     magnetised="+z", fixed=True),
            ],
            duration="80 ms",
            detail="draft",
        )
    )  # fmt: skip


@pytest.fixture
def write(run, tmp_path):
    """Export the run and return the path."""

    def call(name, what=None, **more):
        path = tmp_path / name
        snapsim.export(run if what is None else what, path, **more)
        return path

    return call


def test_csv_has_the_frames_with_units_and_the_cautions(run, write):
    lines = write("frames.csv").read_text(encoding="utf-8").splitlines()
    rows = list(csv.DictReader(line for line in lines if not line.startswith("#")))
    assert len(rows) == len(run.time)
    assert [float(r["block.z_m"]) for r in rows] == run["block"].position[:, 2].tolist()
    assert float(rows[-1]["energy_kinetic_J"]) == run.energy["kinetic"][-1]
    assert any("permission" in line for line in lines if line.startswith("#"))
    assert "table.z_m" not in rows[0]  # fixed


def test_csv_of_blows_and_loads(run, write):
    rows = list(csv.DictReader(write("i.csv", rows="impacts").read_text().splitlines()))
    told = [r for r in rows if r["body"] == "block"]
    assert [float(r["closing_speed_m_s"]) for r in told] == [i.closing_speed for i in run.impacts]
    assert [float(r["point_z_m"]) for r in told] == [i.point[2] for i in run.impacts]
    assert len(told) > 1
    loads = list(csv.DictReader(write("l.csv", rows="loads").read_text().splitlines()))
    assert {r["of"] for r in loads} >= set(run.loads)


def test_parquet_is_the_same_table(run, write):
    table = pyarrow.parquet.read_table(write("frames.parquet"))
    assert table["block.vx_m_s"].to_pylist() == run["block"].velocity[:, 0].tolist()
    assert b"permission" in table.schema.metadata[b"cautions"]


def _glb(path):
    """The JSON chunk, and the chunks' lengths against the file's."""
    data = path.read_bytes()
    magic, version, length = struct.unpack_from("<4sII", data)
    assert (magic, version, length) == (b"glTF", 2, len(data))
    size, kind = struct.unpack_from("<I4s", data, 12)
    assert kind == b"JSON"
    return json.loads(data[20 : 20 + size])


def _bounds_at(path, time):
    """Bounds (2, 3) of every drawn piece at a time of the animation, as VTK reads the file."""
    importer, window = vtk.vtkGLTFImporter(), vtk.vtkRenderWindow()
    importer.SetFileName(str(path))
    window.SetOffScreenRendering(1)
    importer.SetRenderWindow(window)
    importer.Update()
    assert importer.GetNumberOfAnimations() == 1
    importer.EnableAnimation(0)
    importer.UpdateAtTimeValue(time)
    actors = importer.GetRenderer().GetActors()
    return [np.array(a.GetBounds()).reshape(3, 2).T for a in actors]


@pytest.mark.parametrize("time", [0.0, 0.0123, 0.0521, 0.0799])
def test_the_moving_scene_is_where_the_run_is(run, write, time):
    path = write("run.glb")
    moment = sample(run, time)
    block = run.system.bodies[0].shape.surface(8)[0]
    turn = trimesh.transformations.quaternion_matrix(moment.quaternion[0])[:3, :3]
    world = block @ turn.T + moment.position[0]
    upright = world @ np.array([[1, 0, 0], [0, 0, 1], [0, -1, 0]]).T  # y upward, as glTF has it
    expected = np.array([upright.min(axis=0), upright.max(axis=0)])
    # straight lines between poses 1/240 s apart: 300 deg/s and falls bend by less than 30 um
    assert any(np.abs(b - expected).max() < 3e-5 for b in _bounds_at(path, time))


def test_the_moving_scene_names_its_bodies_and_tells_the_poles_apart(run, write):
    document = _glb(write("run.glb"))
    assert [n["name"] for n in document["nodes"][:3]] == [b.name for b in run.system.bodies]
    assert len(document["meshes"][2]["primitives"]) == 2
    two = {p["material"] for p in document["meshes"][2]["primitives"]}
    assert len(two) == 2
    clock = document["animations"][0]["samplers"][0]["input"]
    assert document["accessors"][clock]["max"][0] == pytest.approx(run.time[-1], abs=NUDGED)


def test_a_still_scene_is_read_by_another_library(run, write):
    scene = trimesh.load(write("scene.glb", run.system))
    assert scene.bounds[0] == pytest.approx([-0.15, -0.02, -0.15], abs=1e-7)
    iron = scene.geometry["block"]
    assert iron.volume == pytest.approx(30e-3 * 20e-3 * 10e-3, rel=1e-6)


def test_usd_is_where_the_run_is(run, write):
    stage = Usd.Stage.Open(str(write("run.usdc")))
    assert UsdGeom.GetStageUpAxis(stage) == "Z"
    assert UsdGeom.GetStageMetersPerUnit(stage) == 1.0
    rate = stage.GetTimeCodesPerSecond()
    block = UsdGeom.Xformable(stage.GetPrimAtPath("/scene/body_0"))
    for code in (0.0, 7.0, 15.0):
        moment = sample(run, code / rate)
        found = block.GetLocalTransformation(code)
        assert list(found.ExtractTranslation()) == pytest.approx(moment.position[0], abs=1e-12)
        w, *xyz = moment.quaternion[0]
        turn = found.ExtractRotationQuat()
        assert abs(turn.GetReal() * w + np.dot(turn.GetImaginary(), xyz)) == pytest.approx(1)


def test_a_series_lists_each_frame_at_its_time(run, write):
    path = write("run.pvd")
    reader = pv.get_reader(path)
    times = np.unique(run.time)
    assert reader.time_values == times.tolist()
    reader.set_active_time_value(times[-1])
    last = reader.read()[0]
    mine = last.extract_cells(last.cell_data["body"] == 0)
    half = np.abs(mine.points - run.position[-1, 0]).max()
    assert half < 0.5 * np.linalg.norm([30e-3, 20e-3, 10e-3]) + 1e-6
    assert np.asarray(last.cell_data["speed_m_s"]).max() == pytest.approx(
        np.linalg.norm(run.velocity[-1], axis=1).max(), rel=1e-6
    )


def test_stl_is_the_body_in_millimetres(run, write):
    mesh = trimesh.load(write("block.stl", run.system, body="block"))
    assert mesh.is_watertight
    assert mesh.extents == pytest.approx([30, 20, 10], rel=1e-6)
