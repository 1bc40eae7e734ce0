"""The sound files that cases are spoilt from, made once a session in a folder of its own."""

from __future__ import annotations

import json
import os
import shutil
import sqlite3
import tomllib
from dataclasses import asdict
from pathlib import Path
from typing import Any

import numpy as np
import tomli_w
import trimesh

from snapsim.numerics.kept_files import write_sealed
from tests.fuzz.pictures import still

SCENARIOS = Path(__file__).parents[2] / "scenarios"

SCENE = """
title = "Invented: a ring drops from a magnet"
[[body]]
name = "magnet"
shape = { kind = "box", size = "40 x 30 x 20 mm" }
material = "NdFeB N45"
magnetised = "-z"
position = "0, 0, 90 mm"
fixed = true
[[body]]
name = "ring"
shape = { kind = "ring", outer_diameter = "30 mm", inner_diameter = "12 mm", length = "8 mm" }
material = "low-carbon steel"
position = "0, 0, 30 mm"
[[body]]
name = "table"
shape = { kind = "box", size = "200 x 200 x 20 mm" }
material = "oak"
position = "0, 0, -10 mm"
fixed = true
[[hand]]
name = "finger"
body = "magnet"
face = "-z"
[contact]
restitution = 0.4
friction = 0.3
[run]
duration = "0.12 s"
detail = "draft"
"""

MATERIAL = """
[[material]]
name = "house steel"
density = "7850 kg/m^3"
curve = [["0 A/m", "0 T"], ["200 A/m", "0.8 T"], ["2000 A/m", "1.5 T"], ["60000 A/m", "2.1 T"]]
"""

STUDY = """
title = "Invented: how it bounces"
scene = "scene.toml"
samples = 8
replicates = 2
stop = "end of run"
[set]
"run.duration" = "0.02 s"
[vary]
"contact.restitution" = { uniform = [0.2, 0.4] }
"body.ring.position.z" = { normal = ["30 mm", "2 mm"], between = ["20 mm", "40 mm"] }
"body.ring.rotation" = { values = [{axis = "y", angle = "5 deg"}, {axis = "x", angle = "2 deg"}] }
'material."low-carbon steel".density' = { relative = true, triangular = [0.98, 1.0, 1.02] }
[[correlated]]
between = ["contact.restitution", "body.ring.position.z"]
correlation = 0.3
[[setup]]
name = "as it is"
[[setup]]
name = "rough"
set = { "contact.friction" = 0.8 }
[[place]]
body = "ring"
to = "table"
along = "-z"
gap = "1 mm"
[count]
what = ["snap", "magnet_struck", "pinch"]
table_load = { table = "300 N" }
"""

RARE = """
scene = "scene.toml"
samples = 40
replicates = 2
coarse_first = false
[vary]
"contact.restitution" = { uniform = [0.2, 0.4] }
[rare]
measure = "least_gap_m"
below = 0.001
levels = 3
"""

MATCH = """
title = "Invented footage"
[time]
frame_rate = "240 Hz"
release = "0 s"
[view]
kind = "plane"
right = "+x"
up = "+z"
scale = "4 px/mm"
origin = "640, 400 px"
size = "1280 x 960 px"
y = "down"
[[track]]
point = "rim"
body = "ring"
at = "15, 0, 0 mm"
weight = 1.0
[fitting]
until = "0.1 s"
starts = 4
[make]
noise = "0.5 px"
"""

PINHOLE = MATCH.replace('kind = "plane"\nright = "+x"\n', 'kind = "pinhole"\n').replace(
    'scale = "4 px/mm"\norigin = "640, 400 px"\n',
    'position = "0, -1, 0.1 m"\nlook_at = "0, 0, 30 mm"\nfocal_length = "1500 px"\n',
)

SHOTS = """
[[shot]]
camera = "keyframes"
key = [
  { at = "0 s", azimuth = "-60 deg", elevation = "10 deg" },
  { at = "1.5 s", azimuth = "20 deg", elevation = "25 deg", zoom = 0.5 },
]
[[shot]]
camera = "orbit"
turn = "60 deg"
view = ["-60 deg", "20 deg"]
zoom = 0.8
"""

LIMITS = """
standard = "house rule"
edition = "2026"
clause = "3"
protects = "fingers"
equipment = "gloves"
[[limit]]
name = "blow"
measure = "effective_energy_J"
most = 0.2
unit = "J"
known = "invented"
"""

MESH = {
    "title": "A drawn part",
    "body": [
        {
            "name": "part",
            "shape": {"kind": "mesh", "file": "part.stl", "unit": "mm"},
            "material": "low-carbon steel",
            "position": "0, 0, 0 mm",
        }
    ],
    "run": {"duration": "1 ms", "detail": "draft"},
}


def make(folder: Path) -> None:
    """Write all sound files; `folder` is empty or new."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, text in {
        "scene.toml": SCENE,
        "a.study.toml": STUDY,
        "rare.study.toml": RARE,
        "plane.match.toml": MATCH,
        "pinhole.match.toml": PINHOLE,
        "shots.toml": SHOTS,
        "limits.toml": LIMITS,
    }.items():
        (folder / name).write_text(text, encoding="utf-8")
    trimesh.creation.box((20, 20, 10)).export(folder / "part.stl")
    _make_run(folder)
    _make_ledger(folder)
    _make_operator(folder)
    _make_fates(folder)
    _make_pieces(folder)
    _make_film(folder)
    write_sealed(folder / "sealed", json.dumps([{"limit": "a", "distance_m": 0.5}]).encode())


def _make_run(folder: Path) -> None:
    """A run file, and the tracks of a point of it."""
    import snapsim
    from snapsim.footage.match_file import match_from
    from snapsim.footage.matching import make_tracks

    run = snapsim.release(snapsim.load_scene(folder / "scene.toml"))
    snapsim.write_run(run, folder / "run.h5")
    text = make_tracks(run, match_from(tomllib.loads(MATCH), "m"), "m")
    (folder / "tracks.csv").write_text(text, encoding="utf-8")


def _make_ledger(folder: Path) -> None:
    """The ledger of a study, computed here."""
    from snapsim.study.cases import cases
    from snapsim.study.ledger import Ledger
    from snapsim.study.outcome_row import is_outcome
    from snapsim.study.runner import Options, run_task
    from snapsim.study.study_file import load_study

    study = load_study(folder / "a.study.toml")
    ready = cases(study, str(folder / "a.study.toml"))
    notes = {"study text": study.model_dump_json(), "stray field": "[]"}
    identity = {**ready.identity, "program": "fuzz", "--keep": "none"}
    first: dict[str, Any] | None = None
    with Ledger(folder / "sweep", identity, notes=notes, row=is_outcome) as ledger:
        for task in ready.tasks(Options()):
            first = first or run_task(task)  # one release serves for all: only its shape matters
            energy = 0.1 + 0.01 * task.number
            measures = {**first["measures"], "effective_energy_J": energy}
            ledger.add(task.number, {**first, "measures": measures})
    base = sqlite3.connect(folder / "sweep" / "sweep.sqlite")
    base.execute("PRAGMA journal_mode=DELETE")  # one file
    base.close()
    (folder / "identity.json").write_text(json.dumps(identity))


def _make_operator(folder: Path) -> None:
    """A stored operator, and what it holds."""
    os.environ["SNAPSIM_CACHE"] = str(folder / "operators")
    from snapsim.magnetics.operator_cache import kept_operator

    np.save(folder / "operator.npy", kept_operator(small_mesh()).blocks)
    del os.environ["SNAPSIM_CACHE"]
    (path,) = (folder / "operators").glob("*.npz")
    shutil.move(path, folder / path.name)
    (folder / "operators").rmdir()


FATES = {"slice": "fuzz", "program": "fuzz"}
"""Identity of the ledger of fates."""


def fates() -> list[Any]:
    """A fate of every kind, with and without what may be missing."""
    from snapsim.mechanics.ending import EndReason, ended
    from snapsim.simulation.fate import Fate, FateKind

    ending = ended(EndReason.OVERLAP, 1e-3)
    return [
        *(Fate(kind, "magnet", 0.1, 1.5, 0.02, 0.03, low_by=0.1) for kind in FateKind),
        Fate(FateKind.FAILED, lasted=0.2, ending=ending),
        Fate(FateKind.NO_ROOM, overlap=("ring", "table")),
    ]


def _make_fates(folder: Path) -> None:
    """The ledger of a map of fates."""
    from snapsim.study.ledger import Ledger

    with Ledger(folder / "fates", FATES) as ledger:
        for number, one in enumerate(fates()):
            ledger.add(number, {"status": "done", "fate": asdict(one)})
    base = sqlite3.connect(folder / "fates" / "sweep.sqlite")
    base.execute("PRAGMA journal_mode=DELETE")
    base.close()


PIECES = (".mp4", ".frames")
"""Endings of the pieces of a stopped clip, one of each kind: a file, and a folder of pictures."""


def _make_pieces(folder: Path) -> None:
    """Pieces of clips, as a clip that was stopped leaves them."""
    from snapsim.render.reel import _hash

    (folder / "pieces" / "00001.frames").mkdir(parents=True)
    (folder / "pieces" / "00000.mp4").write_bytes(bytes(range(256)) * 8)
    for n in range(2):
        (folder / "pieces" / "00001.frames" / f"{n:06d}.png").write_bytes(still("png"))
    for number, suffix in enumerate(PIECES):
        np.save(folder / "pieces" / f"{number:05d}.npy", np.ones((2, 18, 32), dtype=np.float32))
        note = {"seconds": {"render": 1.0}, "hash": _hash(folder / "pieces", number, suffix)}
        (folder / "pieces" / f"{number:05d}.json").write_text(json.dumps(note))


def _make_film(folder: Path) -> None:
    """A short video."""
    from snapsim.render.formats import format_of

    frames = [np.full((48, 64, 3), 40 * n, dtype=np.uint8) for n in range(4)]
    form = format_of(folder / "film.mp4")
    form.encode(iter(frames), folder / "film.mp4", (64, 48), 10, 0)


def small_mesh() -> Any:
    """The cells whose operator is stored."""
    from snapsim.magnetics.cells import mesh
    from snapsim.parts.shapes import Box

    return mesh(Box((0.01, 0.012, 0.02)), 8)


def scenes() -> list[dict[str, Any]]:
    """Documents of scenes: all of `scenarios`, and one of every shape and every joint."""
    from snapsim.scenario.joint import JOINT_TABLES
    from snapsim.scenario.shapes import SHAPE_TABLES

    found = [tomllib.loads(SCENE)]
    for path in sorted(SCENARIOS.glob("*.toml")):
        if path.name.count(".") == 1:
            found.append(tomllib.loads(path.read_text(encoding="utf-8")))
    for table in SHAPE_TABLES.values():
        document = tomllib.loads(SCENE)
        document["body"][1]["shape"] = _example(table)
        found.append(document)
    for table in JOINT_TABLES.values():
        document = tomllib.loads(SCENE)
        document["body"][1]["name"] = "part"
        document["joint"] = [_example(table)]
        found.append(document)
    found.append(tomllib.loads(SCENE + MATERIAL))
    found[-1]["body"][1]["material"] = "house steel"
    return [tomllib.loads(tomli_w.dumps(document)) for document in found]


def _example(table: Any) -> dict[str, Any]:
    example: dict[str, Any] = table.model_json_schema()["examples"][0]
    return example
