"""Bodies that start inside each other: every pair counts, every computation refuses it itself."""

from dataclasses import replace

import numpy as np
import pytest

from snapsim.errors import InputError
from snapsim.landscape import force, look_around, margin, rests
from snapsim.landscape.energy import EnergyLandscape
from snapsim.numerics import rotations
from snapsim.parts.shapes import Box, Cylinder, Sphere
from snapsim.run.release import release
from snapsim.run.release_accuracy import release_with_accuracy
from snapsim.simulation.overlap import OverlapError, overlaps, refuse_overlaps

UP = (0, 0, 1)

ENTRIES = {
    "release": lambda s: release(s),
    "release with accuracy": lambda s: release_with_accuracy(s),
    "force": lambda s: force.force(s),
    "force with accuracy": lambda s: force.force(s, accuracy=True),
    "magnetisation": lambda s: force.magnetisation_as_placed(s),
    "poses": lambda s: rests.poses(s, "part"),
    "margin": lambda s: margin.margin(s, "part"),
    "along": lambda s: look_around.force_along(s, "part", np.array([0, 0, 1.0]), 0.1, 3),
    "map": lambda s: look_around.force_map(s, "part", (0, 2), (0.1, 0.1), 3),
    "landscape": lambda s: EnergyLandscape(s, 0),
}


@pytest.fixture
def rig(make_system, make_body, materials):
    """A free iron ball, a fixed magnet, and a fixed block `depth` [m] inside the magnet."""

    def make(depth, block="oak", ball=(0, 0, -0.2)):
        made = {
            "oak": (materials["oak"], None),
            "iron": (materials["iron"](400.0, 1.6), None),
            "magnet": (materials["magnet"], UP),
        }[block]
        rows = [
            (make_body("part", Sphere(0.02), materials["iron"](400.0, 1.6)), ball),
            (
                make_body("magnet", Box((0.06, 0.06, 0.03)), materials["magnet"], UP, True),
                (0, 0, 0),
            ),
            (make_body("block", Box((0.06, 0.06, 0.03)), *made, True), (0, 0, 0.03 - depth)),
        ]
        return replace(make_system(rows, duration=0.001, detail="draft"), file="rig.toml")

    return make


@pytest.mark.parametrize("block", ["magnet", "iron"])
@pytest.mark.parametrize("entry", ENTRIES)
def test_two_fixed_magnetised_bodies_in_one_place_are_refused_by_every_computation(
    rig, entry, block
):
    with pytest.raises(OverlapError) as refused:
        ENTRIES[entry](rig(0.005, block))
    said = str(refused.value)
    assert said.startswith('rig.toml: body.magnet.position: "magnet" and "block" overlap by 5 mm')
    assert "both are magnetised" in said
    assert "\n" not in said


@pytest.mark.parametrize("entry", ENTRIES)
def test_a_free_body_inside_another_is_refused_by_every_computation(rig, entry):
    with pytest.raises(OverlapError, match='"part" and "magnet" overlap by 2 mm at the start'):
        ENTRIES[entry](rig(0.0, ball=(0, 0, -0.023)))


def test_a_magnet_let_into_a_fixed_table_is_borne_and_told(rig):
    system = rig(0.005)
    (found,) = overlaps(system)
    assert (found.body, found.other, found.borne) == ("magnet", "block", True)
    assert found.depth == pytest.approx(0.005, abs=1e-12)
    assert release(system).outcome == "moving"


def test_fixed_bodies_that_touch_keep_no_air_gap(rig):
    system = rig(0.0, "magnet")
    pair = replace(system.surfaces.default, air_gap=0.3e-3)
    assert overlaps(replace(system, surfaces=replace(system.surfaces, default=pair))) == ()


def test_the_landscape_of_a_body_may_begin_inside_another_where_that_is_no_matter(rig):
    inside = rig(0.0, ball=(0, 0, -0.023))
    assert EnergyLandscape(inside, 0, start_matters=False).number == 0
    with pytest.raises(OverlapError, match='"magnet" and "block"'):
        EnergyLandscape(rig(0.005, "iron", (0, 0, -0.023)), 0, start_matters=False)


def test_overlap_is_a_fault_of_the_input():
    assert issubclass(OverlapError, InputError)


@pytest.mark.parametrize("seed", range(12))
def test_every_pair_of_a_heap_is_found_fixed_or_free(seed, make_system, make_body, materials):
    """Blocks along a line, turned about it: which overlap is known from their places alone."""
    draw = np.random.default_rng(seed)
    count, length = 6, 0.02
    x = np.cumsum(draw.uniform(0.4, 1.6, count)) * length
    kinds = [(materials["oak"], None), (materials["magnet"], UP), (materials["iron"](9.0), None)]
    rows = []
    for i in range(count):
        material, way = kinds[draw.integers(3)]
        body = make_body(str(i), Cylinder(0.03, length), material, way, bool(draw.integers(2)))
        turn = rotations.from_rotation_vector([0, np.pi / 2, 0])
        rows.append((body, (x[i], 0, 0), turn))
    system = make_system(rows)
    want = {
        (str(i), str(j)): length - (x[j] - x[i])
        for i in range(count)
        for j in range(i + 1, count)
        if x[j] - x[i] < length - 1e-6
    }
    found = overlaps(system)
    assert {(o.body, o.other): o.depth for o in found} == pytest.approx(want, abs=1e-9)
    for o in found:
        pair = [system.bodies[int(n)] for n in (o.body, o.other)]
        inert = [not (b.is_magnet or b.is_soft) for b in pair]
        assert o.borne == (all(b.fixed for b in pair) and any(inert))
    if any(not o.borne for o in found):
        with pytest.raises(OverlapError):
            refuse_overlaps(system)
    else:
        refuse_overlaps(system)
