"""Every kind of shape, joint, material and clip goes through every consumer.

Kinds are found in the registries and shown by the examples that their tables carry: a new one is
covered here with no edit, and fails here if something does not know it. Each case is one small
scene at draft detail, released once; all consumers share that run.
"""

from __future__ import annotations

import base64
import json
from functools import cache

import imageio.v2 as imageio
import numpy as np
import pytest

import snapsim
from snapsim.analysis.inventory import inventory
from snapsim.analysis.margins import margin_summary
from snapsim.analysis.rests import rests_summary
from snapsim.mechanics.joints import JOINTS
from snapsim.page.fields import scene_fields
from snapsim.page.one_run import one_run_html
from snapsim.page.scene_view import scene_view
from snapsim.parts.materials import MATERIALS
from snapsim.parts.shapes import SHAPES
from snapsim.render import ClipOptions, plots
from snapsim.render.formats import FORMATS
from snapsim.scenario.joint import JOINT_TABLES
from snapsim.scenario.loading import scene_from_text
from snapsim.scenario.shapes import SHAPE_TABLES
from snapsim.scenario.toml_text import write

STEEL, MAGNET, WOOD = "low-carbon steel", "NdFeB N45", "oak"
NICKEL = {
    "name": "odd nickel",
    "density": "8900 kg/m^3",
    "susceptibility": 100.0,
    "saturation": "0.6 T",
}
"""A scene's own material: nobody's table has it."""


COIL = {"turns": 500, "current": [["0 s", "5 A"], ["10 ms", "5 A"], ["10 ms", "-5 A"]]}


def example(table):
    """The example that a kind's table carries."""
    return table.model_json_schema()["examples"][0]


def scene(shape=None, material=STEEL, joint=None, magnetised=None, own=(), coil=None):
    """TOML of a part tilted under a block magnet, over a table, and a joint of it to the world."""
    part = {
        "name": "part",
        "shape": shape or example(SHAPE_TABLES["box"]),
        "material": material,
        "position": "2, 1, -26 mm",
        "rotation": {"axis": "y", "angle": "20 deg"},
    }
    if magnetised is not None:
        part["magnetised"] = magnetised
    part |= coil or {}
    document = {
        "title": "Invented scene of every kind",
        "body": [
            {
                "name": "magnet",
                "shape": {"kind": "box", "size": "40 x 30 x 20 mm"},
                "material": MAGNET,
                "magnetised": "-z",
                "position": "0, 0, 10 mm",
                "fixed": True,
            },
            part,
            {
                "name": "table",
                "shape": {"kind": "box", "size": "120 x 120 x 10 mm"},
                "material": WOOD,
                "position": "0, 0, -60 mm",
                "fixed": True,
            },
        ],
        "run": {"duration": "20 ms", "detail": "draft"},
    }
    if joint is not None:
        # the world's point is the part's, where that stands at the start
        near = scene_from_text(write(document), "scene.toml").start.pose
        at = joint["at"][0]
        x, y, z = (float(v) for v in at.removesuffix(" mm").split(","))
        s, c = np.sin(np.radians(20)), np.cos(np.radians(20))
        there = 1e3 * near.position[1] + np.array([c * x + s * z, y, c * z - s * x])
        document["joint"] = [{**joint, "at": [at, ", ".join(map(repr, there.tolist())) + " mm"]}]
    if own:
        document["material"] = list(own)
    return write(document)


def material_scene(name):
    return scene(material=name, magnetised="z" if MATERIALS[name].is_magnet else None)


CASES = {
    **{f"shape {k}": lambda t=t: scene(shape=example(t)) for k, t in SHAPE_TABLES.items()},
    **{
        f"magnet {k}": lambda t=t: scene(shape=example(t), material=MAGNET, magnetised="x")
        for k, t in SHAPE_TABLES.items()
    },
    **{
        f"pinned {k}": lambda t=t: scene(shape=example(t), joint=example(JOINT_TABLES["hinge"]))
        for k, t in SHAPE_TABLES.items()
        if k != "box"  # that is "joint hinge"
    },
    **{f"joint {k}": lambda t=t: scene(joint=example(t)) for k, t in JOINT_TABLES.items()},
    **{f"material {k}": lambda k=k: material_scene(k) for k in MATERIALS},
    **{
        f"coil {k}": lambda k=k: scene(
            shape=example(SHAPE_TABLES[k]), material="copper winding", coil=COIL
        )
        for k in ("ring", "frame")
    },
    "material of the scene's own": lambda: scene(material=NICKEL["name"], own=[NICKEL]),
}
"""TOML of the scene of each case, made when asked for."""

SOFT = [n for n in CASES if n.startswith(("shape", "joint"))]
FAMILIES = {m.family: f"material {n}" for n, m in MATERIALS.items()}
MOST = [n for n in CASES if not n.startswith("pinned")]

SEARCHED = [
    *(n for n in CASES if n.startswith(("pinned", "joint"))),
    "shape cylinder",
]
"""What rests and margins are searched for: a part with all its freedom takes ten times as long as
one on a hinge, so of these there is one, of revolution."""

CLIP = ClipOptions(
    width=240,
    height=240,
    fps=4,
    supersample=False,
    cards=False,
    freeze=0.0,
    replay=None,
    workers=1,
)

DEAR = [*SOFT, *FAMILIES.values(), "coil ring", "coil frame"]
"""What the dear consumers (rests, margins, clips) look at: of materials one a family."""


@cache
def system(case):
    return scene_from_text(CASES[case](), "scene.toml")


@cache
def released(case):
    return snapsim.release(system(case))


def test_each_kind_has_a_class_a_table_and_an_example():
    assert set(SHAPES) == set(SHAPE_TABLES)
    assert set(JOINTS) == set(JOINT_TABLES)
    for kind, table in {**SHAPE_TABLES, **JOINT_TABLES}.items():
        assert example(table)["kind"] == kind
    for kind, table in JOINT_TABLES.items():
        made = system(f"joint {kind}").joints[0]
        assert (type(made), made.kind) == (JOINTS[kind], kind), table


@pytest.mark.parametrize("case", MOST)
def test_check(case):
    found = inventory(system(case), [])
    body = system(case).bodies[1]
    assert found["bodies"]["part"]["shape"] == body.shape.kind
    assert found["bodies"]["part"]["mass_kg"] == pytest.approx(
        body.material.density * body.shape.volume
    )
    assert (found["bodies"]["part"]["cells"] > 0) == body.is_soft
    json.dumps(found, allow_nan=False)
    # the drawn surface encloses about the volume, drawn with 96 corners a circle
    p, t = body.shape.surface(96)
    drawn = np.einsum("fi,fi->", p[t[:, 0]], np.cross(p[t[:, 1]], p[t[:, 2]])) / 6
    assert drawn == pytest.approx(body.shape.volume, rel=3e-3)
    assert np.linalg.eigvalsh(body.inertia).min() > 0


@pytest.mark.parametrize("case", MOST)
def test_force(case):
    found = snapsim.force_summary(snapsim.force(system(case)))
    json.dumps(found, allow_nan=False)
    body = system(case).bodies[1]
    up = found["bodies"]["part"]["force_N"][2]
    if body.is_soft:
        assert up > 0.5  # N: some 20 mm under the pole, tens of grams
    elif not body.is_magnet:
        assert up == 0
    else:
        assert abs(up) > 0.5


@pytest.mark.parametrize("case", MOST)
def test_release(case):
    run = released(case)
    result = snapsim.summary(run)
    json.dumps(result, allow_nan=False)
    assert np.isfinite(run.position).all()
    assert result["simulated_s"] > 0
    assert result["energy"]["unaccounted_fraction"] < 1e-3
    body = system(case).bodies[1]
    if not system(case).joints and not body.is_magnet:
        rise = run.position[:, 1, 2].max() - run.position[0, 1, 2]
        assert (rise > 1e-3) == body.is_soft  # m: iron flies up, wood falls


@pytest.mark.parametrize("case", MOST)
def test_run_file_and_back(case, tmp_path):
    run = released(case)
    snapsim.write_run(run, tmp_path / "run.h5")
    again = snapsim.read_run(tmp_path / "run.h5")
    assert np.array_equal(again.position, run.position)
    assert np.array_equal(again.quaternion, run.quaternion)
    for one, other in zip(run.system.bodies, again.system.bodies, strict=True):
        assert one.inertia.tobytes() == other.inertia.tobytes()
        assert one.material.source == other.material.source
    assert [(j.kind, j.name, j.bodies) for j in again.system.joints] == [
        (j.kind, j.name, j.bodies) for j in run.system.joints
    ]
    assert snapsim.summary(again) == snapsim.summary(run)


@pytest.mark.parametrize("case", MOST)
def test_page_view_and_one_run_file(case):
    view = scene_view(system(case))
    json.dumps(view, allow_nan=False)
    assert [b["name"] for b in view["bodies"]] == ["magnet", "part", "table"]
    for joint, described in zip(view["joints"], system(case).joints, strict=True):
        assert joint["name"] == described.name
        assert joint["solids"] or joint["length"]  # there is something to see
        for solid in joint["solids"]:
            order = np.frombuffer(base64.b64decode(solid["mesh"]["order"]), "<u4")
            points = np.frombuffer(base64.b64decode(solid["mesh"]["positions"]), "<f4")
            used = points.reshape(-1, 3)[order.reshape(-1, 3)]
            assert np.ptp(used.reshape(-1, 3), axis=0).max() > 1e-3  # m: and it has faces
    import tomllib

    document = tomllib.loads(CASES[case]())
    fields = {f["key"]: f["value"] for g in scene_fields(document, "part") for f in g["fields"]}
    shape = document["body"][1]["shape"]
    for name in SHAPE_TABLES[shape["kind"]].quantities():
        assert fields[f"body.part.shape.{name}"] == shape[name]
    html = one_run_html(released(case))
    assert "Invented scene of every kind" in html
    assert "http://" not in html.split("<script", 1)[0]


@pytest.mark.parametrize("case", DEAR)
def test_plot(case, tmp_path):
    assert_plotted(case, tmp_path, ".svg")


@pytest.mark.parametrize("ending", plots.FORMATS)
def test_format_of_plots(ending, tmp_path):
    assert_plotted("joint ball", tmp_path, ending)


def assert_plotted(case, folder, ending):
    """The run's plot is written, and holds more than empty axes."""
    path = folder / f"run{ending}"
    plots.save(path, plots.run_plot(released(case)), plots.PlotOptions("light"), ending)
    assert path.stat().st_size > 8000


@pytest.mark.slow
@pytest.mark.parametrize("case", SEARCHED)
def test_poses(case):
    report = snapsim.poses(system(case), "part", starts=1)
    json.dumps(rests_summary(report), allow_nan=False)
    assert report.rests
    # no more than the shape has faces, edges and corners to lie on: one of revolution whose turn
    # about its axis were told apart would have scores
    assert len(report.rests) < 30


@pytest.mark.slow
@pytest.mark.parametrize("case", SEARCHED)
def test_margin(case):
    report = snapsim.margin(system(case), "part")
    json.dumps(margin_summary(report), allow_nan=False)


@pytest.mark.slow
@pytest.mark.parametrize("case", DEAR)
def test_clip(case, tmp_path):
    assert_shown(case, tmp_path / "clip.gif")


@pytest.mark.slow
@pytest.mark.parametrize("known", FORMATS, ids=lambda f: type(f).__name__ + f.suffix)
def test_format_of_clips(known, tmp_path):
    path = tmp_path / f"clip{known.suffix}"
    assert_shown("joint ball", path)


def assert_shown(case, path):
    """The clip is written, and its part is not all of one colour."""
    snapsim.render_clip(released(case), path, CLIP)
    if path.is_dir():
        pictures = sorted(path.glob("*.png"))
        assert len(pictures) > 1
        first = imageio.imread(pictures[0])
    else:
        first = next(iter(imageio.get_reader(path)))
    assert np.ptp(np.asarray(first)[..., :3].reshape(-1, 3), axis=0).max() > 100
