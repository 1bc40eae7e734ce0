"""Building a scene: named edits, undo, and the text beside; against a model of what was done."""

from __future__ import annotations

import copy
import tomllib
from concurrent.futures import Executor
from contextlib import nullcontext, suppress
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from snapsim.errors import InputError
from snapsim.page import edits
from snapsim.page.bench import Bench, Source
from snapsim.page.pose import TypedPose
from snapsim.scenario.changes import apply_changes
from snapsim.scenario.examples import examples

SCENES = Path(__file__).parents[2] / "scenarios"


class Idle(Executor):
    """Nothing is computed here."""


def bench_of(name: str = "gear-blank") -> Bench:
    file = SCENES / f"{name}.toml"
    return Bench(Source(file.read_text(), str(file)), Idle())


def read(bench: Bench) -> dict[str, Any]:
    return tomllib.loads(bench.toml())


@pytest.mark.parametrize("kind", edits.KINDS)
def test_whatever_is_added_makes_a_scene_and_undo_takes_it_away(kind: str) -> None:
    bench = bench_of()
    before = read(bench)
    bench.edit("add", kind)
    after = read(bench)
    table = "body" if kind in edits.BODIES else "hand" if kind == "hand" else "joint"
    assert len(after[table]) == len(before.get(table, [])) + 1
    bench.undo()
    assert read(bench) == before
    bench.redo()
    assert read(bench) == after


def test_comments_stay_when_a_body_is_added_moved_and_another_removed() -> None:
    bench = bench_of("tethered-blank")
    bench.edit("add", "part")
    bench.edit("remove", "table")
    text = bench.toml()
    assert text.startswith("# Invented demonstration")
    assert "# on edge: its +x points down" in text
    assert [j["name"] for j in read(bench)["joint"]] == ["hand"]  # the string went with the table


def test_what_is_fastened_goes_with_a_body_and_nothing_else() -> None:
    document = tomllib.loads((SCENES / "tethered-blank.toml").read_text())
    kept = copy.deepcopy(document)
    found = edits.removed(document, "table")
    assert document == kept  # pure
    assert [b["name"] for b in found["body"]] == ["magnet", "blank"]
    assert [j["name"] for j in found["joint"]] == ["hand"]
    with pytest.raises(InputError, match="there is no"):
        edits.removed(document, "tables")


def test_the_last_part_that_can_move_is_kept_and_a_refusal_changes_nothing() -> None:
    bench = bench_of()
    before = (read(bench), len(bench.past))
    for kind, name in (("remove", "blank"), ("lock", "blank"), ("add", "nothing"), ("x", "blank")):
        with pytest.raises(InputError):
            bench.edit(kind, name)
    with pytest.raises(InputError):
        bench.retext("[[body]")
    with pytest.raises(InputError):
        bench.reshape("blank", "heart")
    assert (read(bench), len(bench.past)) == before


@pytest.mark.parametrize("kind", ["box", "cylinder", "ring", "sphere", "hex_nut", "prism"])
def test_a_body_takes_every_kind_of_shape(kind: str) -> None:
    bench = bench_of()
    bench.reshape("blank", kind)
    assert read(bench)["body"][1]["shape"]["kind"] == kind


def test_a_drag_is_one_step_and_a_second_one_another() -> None:
    bench = bench_of()
    for stroke in (1, 2):
        for x in range(1, 6):
            bench.move(TypedPose((10.0 * stroke + x, 0.0, -60.0), (0.0, 30.0, 0.0)), stroke)
    assert len(bench.past) == 2
    bench.undo()
    assert bench.pose.position[0] == 15.0
    bench.undo()
    assert bench.document == bench._opened()


def test_a_turn_given_as_a_quaternion_is_replaced_and_not_doubled() -> None:
    document = {"body": [{"name": "a", "position": "0, 0, 0 mm", "quaternion": "1, 0, 0, 0"}]}
    found = edits.posed(document, "a", TypedPose((1.0, 2.0, 3.0), (0.0, 5.0, 0.0)))
    assert found["body"][0] == {
        "name": "a",
        "position": "1, 2, 3 mm",
        "rotation": {"axis": "y", "angle": "5 deg"},
    }


@pytest.mark.parametrize("name", sorted(examples()))
def test_changes_told_for_the_command_line_make_the_same_scene(name: str) -> None:
    bench = bench_of(name)
    bench.move(TypedPose((1.0, 2.0, 3.0), (4.0, 5.0, 6.0)))
    bench.put("run.duration", "0.2 s")
    told = bench.all_changes()
    assert told is not None
    before = tomllib.loads(bench.source.text)
    assert apply_changes(before, told, "scene") == read(bench)


class Model:
    """What a scene should be after each edit, kept the plain way: a list of whole documents."""

    def __init__(self, document: dict[str, Any]) -> None:
        self.states, self.at = [document], 0

    @property
    def now(self) -> dict[str, Any]:
        return self.states[self.at]

    def do(self, document: dict[str, Any]) -> None:
        del self.states[self.at + 1 :]
        self.states.append(document)
        self.at += 1


def names(document: dict[str, Any], *kinds: str) -> list[str]:
    return [t["name"] for kind in kinds for t in document.get(kind, [])]


def one_edit(bench: Bench, model: Model, random: np.random.Generator, n: int) -> None:
    """One random edit, made on both; where the bench refuses it the model is as it was."""
    what = random.choice(["add", "remove", "copy", "lock", "drag", "put", "bad", "undo", "redo"])
    bodies = names(model.now, "body")
    name = str(random.choice([*bodies, *names(model.now, "joint", "hand")]))
    try:
        if what == "add":
            bench.edit("add", str(random.choice(edits.KINDS)))
            added = read(bench)
            for kind in ("body", "joint", "hand"):  # the one new table is the last of its kind
                now, before = added.get(kind, []), model.now.get(kind, [])
                assert now[: len(before)] == before
            assert len(names(added, "body", "joint", "hand")) == 1 + len(
                names(model.now, "body", "joint", "hand")
            )
            model.do(added)
        elif what == "remove":
            bench.edit("remove", name)
            wanted = copy.deepcopy(model.now)
            for kind in ("body", "joint", "hand"):
                kept = [
                    t for t in wanted.get(kind, [])
                    if t["name"] != name
                    and not (name in bodies and name in (*t.get("between", []), t.get("body")))
                ]  # fmt: skip
                wanted.pop(kind, None)
                if kept:
                    wanted[kind] = kept
            model.do(wanted)
        elif what == "copy":
            bench.edit("duplicate", name)
            original = next(b for b in model.now["body"] if b["name"] == name)
            made = read(bench)["body"][-1]
            own = {"name": made["name"], "position": made["position"]}
            assert made == original | own
            wanted = copy.deepcopy(model.now)
            wanted["body"].append(made)
            model.do(wanted)
        elif what == "lock":
            bench.edit("lock", name)
            wanted = copy.deepcopy(model.now)
            body = next(b for b in wanted["body"] if b["name"] == name)
            for key in ("velocity", "spin"):
                body.pop(key, None)
            body["fixed"] = True
            model.do(wanted)
        elif what == "drag":
            x = float(random.integers(-50, 50))
            moved = bench.part_name
            wanted = copy.deepcopy(model.now)
            held = any(moved in j["between"] for j in wanted.get("joint", []))
            for k in range(3):
                # where its joints do not let it go it stays, as a part under the pointer does
                with suppress(InputError) if held else nullcontext():
                    bench.move(TypedPose((x + k, 1.0, -60.0), (0.0, 20.0, 0.0)), n)
            if held:
                # where its joints let it be, and its hold with it: told by the bench itself; what a
                # ball holds in its place is not moved, and leaves nothing to undo
                told = edits.posed(wanted, moved, bench.pose)
                if told != model.now:
                    model.do(told)
                return
            body = next(b for b in wanted["body"] if b["name"] == moved)
            body.pop("quaternion", None)
            body["position"] = f"{x + 2:g}, 1, -60 mm"
            body["rotation"] = {"axis": "y", "angle": "20 deg"}
            model.do(wanted)
        elif what == "put":
            duration = f"{random.integers(1, 9)} s"
            bench.put("run.duration", duration)
            wanted = copy.deepcopy(model.now)
            wanted["run"]["duration"] = duration
            model.do(wanted)
        elif what == "bad":
            wrong = str(random.choice(["-3 mm", "60 kg", "", "1e9 m", "nonsense"]))
            with pytest.raises(InputError):
                bench.put("run.duration", wrong)
        elif what == "undo":
            bench.undo()
            model.at -= 1
        else:
            bench.redo()
            model.at += 1
    except InputError:
        pass


SEEDS = [*range(6), *(pytest.param(k, marks=pytest.mark.longer) for k in range(6, 200))]
"""A few always, two hundred where asked for."""


@pytest.mark.parametrize("seed", SEEDS)
def test_random_edits_leave_the_text_equal_to_a_model_of_what_was_done(seed: int) -> None:
    random = np.random.default_rng(seed)
    bench = bench_of("gear-blank")
    model = Model(read(bench))
    for n in range(25):
        one_edit(bench, model, random, n)
        assert read(bench) == model.now
        assert bench.document == model.now
        # what the text says is the scene that is computed
        placed = bench.system.bodies[bench.part].name
        assert placed == bench.part_name
        if n % 8 == 7:  # the page is loaded again: all comes from the text
            bench = reopened(bench)
            model = Model(read(bench))


def reopened(bench: Bench) -> Bench:
    return Bench(Source(bench.toml(), bench.source.file), Idle())
