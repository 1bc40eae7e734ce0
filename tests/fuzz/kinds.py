"""The kinds of files that are read: how a case of each is made, and what reads it.

A kind makes the files of a case from its number and acts on them in a folder: a command, run in
this process, or a function where the command would compute for long. What it returns is compared
with the answer to the sound file wherever a hash should have told.
"""

from __future__ import annotations

import contextlib
import copy
import io
import json
import os
import shutil
import tempfile
import tomllib
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any
from unittest.mock import patch

import numpy as np
import tomli_w

from snapsim.errors import SnapsimError
from tests.fuzz import asking, sound
from tests.fuzz.meshes import spoilt_mesh, spoilt_solid
from tests.fuzz.pictures import spoilt_picture
from tests.fuzz.spoiling import (
    Random,
    spoil_bytes,
    spoil_document,
    spoil_quantity,
    spoil_table,
    toml_bytes,
)
from tests.fuzz.stored import spoilt_ledger, spoilt_operator, spoilt_run

REFUSED = "refused: "


class Wrong(Exception):
    """What a case must not come to."""


@dataclass(frozen=True)
class Kind:
    """`make(base, folder, random)` writes a case into `folder`, returns whether a hash tells it is
    spoilt; `act(base, folder)` reads it and returns what came of it."""

    make: Callable[[Path, Path, Random], bool]
    act: Callable[[Path, Path], str]


def command(*arguments: str, quiet: bool = False) -> str:
    """Run a command here; return its output, or `REFUSED` and its line. Raises Wrong where it ends
    in anything else than a result or one line."""
    from snapsim.cli.entry import run

    out, err = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        status = run(list(arguments))
    said = err.getvalue()
    if "unexpected fault" in said or "Traceback" in said:
        raise Wrong(said.strip()[-600:])
    if status == 0 and said:
        raise Wrong(f"status 0, but said: {said.strip()[:300]}")
    if status not in (0, 2, 3, 4):
        raise Wrong(f"status {status}: {said.strip()[:300]}")
    if status and (said.count("\n") != 1 or not said.startswith("snapsim: ")):
        raise Wrong(f"status {status} with {said.count(chr(10))} lines: {said.strip()[:600]}")
    if status == 3:
        raise Wrong(f"a file is no reason for status 3: {said.strip()[:300]}")
    return f"{REFUSED}{said.strip()}" if status == 2 else out.getvalue()


def refusing(call: Callable[[], str]) -> str:
    """What a function returns, or `REFUSED` and its one line."""
    try:
        return call()
    except SnapsimError as error:
        if "\n" in str(error) or error.exit_status != 2:
            raise Wrong(f"status {error.exit_status}: {error}") from error
        return f"{REFUSED}{error}"


# -- what people write -------------------------------------------------------------------------


@cache
def _scenes() -> list[dict[str, Any]]:
    return sound.scenes()


def _make_scene(base: Path, folder: Path, random: Random) -> bool:
    known = _scenes()
    document = copy.deepcopy(known[int(random.integers(len(known)))])
    options: dict[str, Any] = {"set": [], "release": False}
    way = random.random()
    if way < 0.85:
        spoil_document(document, random)
    if way > 0.75:
        options["set"] = [_change(document, random) for _ in range(int(random.integers(1, 3)))]
    options["release"] = bool(random.random() < 0.02)
    shutil.copy(base / "part.stl", folder)
    (folder / "scene.toml").write_bytes(toml_bytes(document, random))
    (folder / "options.json").write_text(json.dumps(options))
    return False


def _change(document: dict[str, Any], random: Random) -> str:
    """A --set of some key of a scene."""
    bodies = [b for b in document.get("body", []) if isinstance(b, dict)] if random.random() else []
    keys = [
        "run.duration",
        "run.detail",
        "contact.friction",
        "gravity",
        "title",
        "a.b",
        "body[9].name",
    ]
    for body in bodies:
        keys += [f"body.{body.get('name')}.{k}" for k in body]
        keys += [f"body.{body.get('name')}.position.z", f"body.{body.get('name')}.rotation.angle"]
    key = keys[int(random.integers(len(keys)))]
    values = ["1 mm", "45 deg", "3", "true", "[1, 2", "{a = 1}", "9" * 5000, "1e400", "", "=", '"x']
    values += ["0, 0, 5 mm", "fine", "inf", "-z", "[[[[1]]]]", "\u00e9", "10 x 10 x 10 mm"]
    value = values[int(random.integers(len(values)))]
    return f"{key}={spoil_quantity(value, random) if random.random() < 0.3 else value}"


def _act_scene(base: Path, folder: Path) -> str:
    options = json.loads((folder / "options.json").read_text())
    changes = [part for change in options["set"] for part in ("--set", change)]
    found = command("check", str(folder / "scene.toml"), *changes)
    if not options["release"] or found.startswith(REFUSED):
        return found
    few = ["--set", "run.duration=1 ms", "--set", "run.detail=draft", "--json"]
    return found + _release(str(folder / "scene.toml"), [*changes, *few])


def _release(file: str, changes: list[str]) -> str:
    """A release may come to a stop, or be untrusted, in one line."""
    try:
        return command("release", file, *changes)
    except Wrong as wrong:
        stopped = "status 3: " in str(wrong) and "stopped at" in str(wrong)
        if stopped or (
            "a file is no reason for status 3" in str(wrong) and "stopped" in str(wrong)
        ):
            return "stopped"
        raise


def _spoilt_text(names: list[str], target: str) -> Callable[[Path, Path, Random], bool]:
    """Make a case of one of some TOML files."""

    def make(base: Path, folder: Path, random: Random) -> bool:
        name = names[int(random.integers(len(names)))]
        document = spoil_document(tomllib.loads((base / name).read_text()), random)
        (folder / target).write_bytes(toml_bytes(document, random))
        return False

    return make


def _make_study(base: Path, folder: Path, random: Random) -> bool:
    shutil.copy(base / "scene.toml", folder)
    names = ["a.study.toml", "a.study.toml", "rare.study.toml"]
    return _spoilt_text(names, "study.toml")(base, folder, random)


def _act_study(base: Path, folder: Path) -> str:
    from snapsim.study.cases import cases
    from snapsim.study.runner import Options
    from snapsim.study.sampling import count
    from snapsim.study.study_file import load_study

    def read() -> str:
        study = load_study(folder / "study.toml")
        ready = cases(study, str(folder / "study.toml"))
        if study.samples * study.replicates > 4096 or study.rare:
            return f"{count(study)} runs"
        tasks = [task for task, _ in zip(ready.tasks(Options()), range(3), strict=False)]
        return f"{count(study)} runs, {[t.changes for t in tasks]}"

    return refusing(read)


def _make_match(base: Path, folder: Path, random: Random) -> bool:
    return _spoilt_text(["plane.match.toml", "pinhole.match.toml"], "m.toml")(base, folder, random)


def _act_match(base: Path, folder: Path) -> str:
    given = ["--with", str(folder / "m.toml"), "--lay-only"]
    return _laid(base, str(base / "tracks.csv"), given)


def _laid(base: Path, tracks: str, given: list[str]) -> str:
    return command("match", str(base / "run.h5"), tracks, *given)


def _make_tracks(base: Path, folder: Path, random: Random) -> bool:
    text = (base / "tracks.csv").read_text(encoding="utf-8")
    (folder / "tracks.csv").write_bytes(spoil_table(text, random))
    return False


def _act_tracks(base: Path, folder: Path) -> str:
    given = ["--with", str(base / "plane.match.toml"), "--lay-only"]
    return _laid(base, str(folder / "tracks.csv"), given)


def _act_shots(base: Path, folder: Path) -> str:
    from snapsim.cli.shot_file import read_shots

    return refusing(lambda: repr(read_shots(str(folder / "shots.toml"))))


def _act_limits(base: Path, folder: Path) -> str:
    from snapsim.study.hazard_limits import standards

    return refusing(lambda: repr(standards([str(folder / "limits.toml")])[-1]))


def _mesh(kind: str) -> Kind:
    """A surface in one format."""

    def make(base: Path, folder: Path, random: Random) -> bool:
        (folder / f"part.{kind}").write_bytes(spoilt_mesh(kind, random))
        document = copy.deepcopy(sound.MESH)
        document["body"][0]["shape"]["file"] = f"part.{kind}"
        (folder / "scene.toml").write_text(tomli_w.dumps(document))
        return False

    def act(base: Path, folder: Path) -> str:
        return command("check", str(folder / "scene.toml"))

    return Kind(make, act)


def _solid() -> Kind:
    """A solid in a STEP file."""

    def make(base: Path, folder: Path, random: Random) -> bool:
        (folder / "part.step").write_bytes(spoilt_solid(random))
        document = copy.deepcopy(sound.MESH)
        shape = document["body"][0]["shape"]
        shape["file"] = "part.step"
        del shape["unit"]
        (folder / "scene.toml").write_text(tomli_w.dumps(document))
        return False

    def act(base: Path, folder: Path) -> str:
        return command("check", str(folder / "scene.toml"))

    return Kind(make, act)


# -- what the program keeps ----------------------------------------------------------------------


def _make_run(base: Path, folder: Path, random: Random) -> bool:
    content, told = spoilt_run((base / "run.h5").read_bytes(), random)
    (folder / "run.h5").write_bytes(content)
    return told


def _act_run(base: Path, folder: Path) -> str:
    import snapsim

    def read() -> str:
        run = snapsim.read_run(folder / "run.h5")
        return json.dumps(snapsim.summary(run), sort_keys=True) + str(float(np.sum(run.position)))

    return refusing(read)


def _make_ledger(base: Path, folder: Path, random: Random) -> bool:
    (folder / "sweep").mkdir()
    shutil.copy(base / "sweep" / "sweep.sqlite", folder / "sweep")
    return spoilt_ledger(folder / "sweep" / "sweep.sqlite", random)


def _act_ledger(base: Path, folder: Path) -> str:
    """The hazard table as the command prints it, and what a sweep makes of the ledger."""
    before = os.getcwd()
    os.chdir(folder)
    try:
        found = command("rank", "sweep", "--json")
        refusing(lambda: _gone_on(base, folder))
    finally:
        os.chdir(before)
    return found


def _gone_on(base: Path, folder: Path) -> str:
    from snapsim.study.ledger import Ledger
    from snapsim.study.outcome_row import is_outcome, nothing

    identity = json.loads((base / "identity.json").read_text())
    with tempfile.TemporaryDirectory() as copy:
        shutil.copy(folder / "sweep" / "sweep.sqlite", copy)
        with Ledger(copy, identity, row=is_outcome) as ledger:
            ledger.add(0, nothing("failed", "again"))
            return str(len(list(ledger.results())) + len(ledger.damaged))


def _make_fates(base: Path, folder: Path, random: Random) -> bool:
    (folder / "fates").mkdir()
    shutil.copy(base / "fates" / "sweep.sqlite", folder / "fates")
    return spoilt_ledger(folder / "fates" / "sweep.sqlite", random)


def _act_fates(base: Path, folder: Path) -> str:
    """The fates that a map would begin from; damaged ones would be computed anew."""
    from snapsim.study.fate_map import _is_fate, _kept
    from snapsim.study.ledger import Ledger

    def read() -> str:
        with tempfile.TemporaryDirectory() as copy:
            shutil.copy(folder / "fates" / "sweep.sqlite", copy)
            with Ledger(copy, sound.FATES, row=_is_fate) as ledger:
                known = {n: _kept(row["fate"]) for n, row in ledger.results()}
                missing = len(sound.fates()) - len(known)
                if ledger.damaged or missing > 0:
                    return f"{REFUSED}{missing} fates are computed anew"
                return repr(sorted(known.items()))

    return refusing(read)


def _make_piece(base: Path, folder: Path, random: Random) -> bool:
    """A piece of a clip that was stopped, one of its files spoilt, cut or gone."""
    shutil.copytree(base / "pieces", folder / "pieces")
    names = sorted(p for p in (folder / "pieces").rglob("*") if p.is_file())
    path = names[int(random.integers(len(names)))]
    if random.random() < 0.1:
        path.unlink()
    else:
        path.write_bytes(spoil_bytes(path.read_bytes(), random))
    return True


def _act_piece(base: Path, folder: Path) -> str:
    """Each piece as it lies there, or that it is drawn anew."""
    from snapsim.render.reel import _is_done

    found = []
    for number, suffix in enumerate(sound.PIECES):
        if not _is_done(folder / "pieces", number, suffix):
            return f"{REFUSED}piece {number} is drawn anew"
        piece = folder / "pieces" / f"{number:05d}{suffix}"
        files = sorted(piece.iterdir()) if piece.is_dir() else [piece]
        found += [p.read_bytes() for p in [*files, folder / "pieces" / f"{number:05d}.npy"]]
    return repr(found)


def _make_sealed(base: Path, folder: Path, random: Random) -> bool:
    (folder / "sealed").write_bytes(spoil_bytes((base / "sealed").read_bytes(), random))
    return True


def _act_sealed(base: Path, folder: Path) -> str:
    """What the caches of stray fields and of compiled code read: whole, or nothing."""
    from snapsim.numerics.kept_files import read_sealed

    held = read_sealed(folder / "sealed")
    return f"{REFUSED}is made anew" if held is None else repr(held)


def _make_picture(base: Path, folder: Path, random: Random) -> bool:
    name, content = spoilt_picture(base, random)
    (folder / name).write_bytes(content)
    (folder / "name").write_text(name)
    return False


def _act_picture(base: Path, folder: Path) -> str:
    """A still or a video that tracks are drawn over."""
    from snapsim.footage.backdrop import FootageBackdrop

    def read() -> str:
        with FootageBackdrop(str(folder / (folder / "name").read_text())) as backdrop:
            return repr([backdrop.frame(n).shape for n in (0, 3)])

    return refusing(read)


def _act_line(base: Path, folder: Path) -> str:
    before = os.getcwd()
    os.chdir(folder)
    try:
        return command(*asking.line_of(base, folder))
    finally:
        os.chdir(before)


def _make_operator(base: Path, folder: Path, random: Random) -> bool:
    (path,) = base.glob("*.operator.npz")
    (folder / path.name).write_bytes(spoilt_operator(path.read_bytes(), random))
    return True


def _act_operator(base: Path, folder: Path) -> str:
    from snapsim.magnetics import operator_cache

    # not by $SNAPSIM_CACHE: compiled code lies there too, and would be compiled anew each time
    with (
        patch.object(operator_cache, "kept_folder", lambda kind: folder),
        contextlib.redirect_stderr(io.StringIO()),
    ):
        found = operator_cache.kept_operator(sound.small_mesh()).blocks
    if not np.array_equal(found, np.load(base / "operator.npy")):
        raise Wrong("another operator came out")
    return "the same"


KINDS: dict[str, Kind] = {
    "scene": Kind(_make_scene, _act_scene),
    "study": Kind(_make_study, _act_study),
    "match": Kind(_make_match, _act_match),
    "tracks": Kind(_make_tracks, _act_tracks),
    "shots": Kind(_spoilt_text(["shots.toml"], "shots.toml"), _act_shots),
    "limits": Kind(_spoilt_text(["limits.toml"], "limits.toml"), _act_limits),
    "stl": _mesh("stl"),
    "ply": _mesh("ply"),
    "obj": _mesh("obj"),
    "step": _solid(),
    "run": Kind(_make_run, _act_run),
    "ledger": Kind(_make_ledger, _act_ledger),
    "operator": Kind(_make_operator, _act_operator),
    "fates": Kind(_make_fates, _act_fates),
    "piece": Kind(_make_piece, _act_piece),
    "sealed": Kind(_make_sealed, _act_sealed),
    "picture": Kind(_make_picture, _act_picture),
    "calls": Kind(asking.make_calls, asking.act_calls),
    "line": Kind(asking.make_line, _act_line),
}


def random_of(kind: str, number: int) -> Random:
    """The stream of a case."""
    return np.random.default_rng([number, *kind.encode()])
