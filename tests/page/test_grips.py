"""Sizes drawn by hand: every kind of shape, faces, rims, undo; what is held there comes along."""

from __future__ import annotations

import tomllib
from typing import Any

import numpy as np
import pytest
from conftest import SCENE

from snapsim.errors import InputError
from snapsim.numerics import rotations
from snapsim.page import edits
from snapsim.page.bench import Bench, Source
from snapsim.page.grips import grips
from snapsim.scenario.shapes import SHAPE_TABLES
from tests.fuzz.asking import NoLane


def bench_of(text: str = SCENE) -> Bench:
    return Bench(Source(text, "disc.toml"), NoLane())


def body(bench: Bench, name: str) -> dict[str, Any]:
    assert tomllib.loads(bench.toml()) == bench.document
    return edits.body_of(bench.document, name)


def side(bench: Bench, name: str, way: list[float]) -> float:
    """How far [m] a body reaches along a world direction (3,), on its drawn surface."""
    number = bench.system.number(name)
    pose = bench.system.start.pose
    corners, _ = bench.system.bodies[number].shape.surface(48)
    world = rotations.rotate(pose.quaternion[number], corners) + pose.position[number]
    return float((world @ np.array(way)).max())


@pytest.mark.parametrize("kind", [k for k in SHAPE_TABLES if k not in ("mesh", "compound")])
def test_every_grip_of_every_kind_stands_on_its_surface_and_changes_its_own_size(kind: str) -> None:
    bench = bench_of()
    bench.reshape("disc", kind)
    number = bench.system.number("disc")
    found = grips(body(bench, "disc")["shape"], bench.system.bodies[number])
    asked = SHAPE_TABLES[kind].quantities()
    assert {g.key for g in found} == {k for k in asked if k != "points"}
    for which, grip in enumerate(found):
        before = body(bench, "disc")["shape"]
        axis = rotations.rotate(bench.pose.place.quaternion, np.array(grip.axis))
        outer = bool(grip.stretch)
        far, near = side(bench, "disc", axis), side(bench, "disc", -axis)
        bench.resize("disc", grip.key, which, 1.1 * grip.value)
        after = body(bench, "disc")["shape"]
        assert {k for k in after if after[k] != before[k]} == {grip.key}
        if outer:  # a hexagon's flats and polygons of 48 sides are met to 1 %
            moved = side(bench, "disc", axis) - far
            assert moved == pytest.approx(0.1 * grip.value / grip.growth, rel=0.05)
            stayed = side(bench, "disc", -axis) - near
            due = 0.0 if grip.shift else moved
            assert stayed == pytest.approx(due, abs=1e-7)
        bench.undo()
        assert body(bench, "disc")["shape"] == before


def test_sizes_drawn_in_one_stroke_are_one_step_and_bad_ones_change_nothing() -> None:
    bench = bench_of()
    before = bench.toml()
    for value in (0.013, 0.014, 0.015):
        bench.resize("disc", "length", 2, value, stroke=7)
    assert 'length = "15 mm"' in bench.toml()
    assert len(bench.past) == 1
    for given in (("disc", "length", 2, -1.0), ("disc", "length", 2, 1e9), ("disc", "size", 2, 0.1),
                  ("disc", "length", 99, 0.1), ("none", "length", 2, 0.1)):  # fmt: skip
        with pytest.raises(InputError):
            bench.resize(*given)
    bench.undo()
    assert bench.toml() == before


def test_what_holds_a_part_in_the_room_comes_along_with_its_centre() -> None:
    bench = bench_of()
    bench.edit("add", "hold")
    bench.resize("disc", "length", 2, 0.032)
    joint, disc = tomllib.loads(bench.toml())["joint"][0], body(bench, "disc")
    assert joint["at"][1] == disc["position"]
    assert bench.pose.position[0] == pytest.approx(10 * np.sin(np.radians(75)), abs=1e-5)
