"""A release on two meshes: error bars of the first blow, and plain words where the runs part."""

from dataclasses import replace

import numpy as np
import pytest

from snapsim.mechanics.ending import EndReason, ended
from snapsim.parts.shapes import Box, Cylinder, Sphere
from snapsim.run.release_accuracy import (
    compared,
    release_with_accuracy,
    snapped,
)
from snapsim.simulation.refinement import two_meshes
from snapsim.simulation.trajectory import Meshes
from snapsim.words.meshes import with_mesh_words


def said(coarse, fine, system):
    """The code of what two runs say of each other, and its words."""
    found = with_mesh_words(compared(coarse, fine, two_meshes(system)))
    return found["meshes_code"], found["meshes"]


@pytest.fixture
def ball(make_body, make_system, materials):
    """A steel ball free 25 mm under a magnet, for 40 ms at draft."""
    magnet = make_body("magnet", Cylinder(0.04, 0.02), materials["magnet"], (0, 0, 1), True)
    part = make_body("ball", Sphere(0.02), materials["iron"](300.0, 1.9))
    rows = [(magnet, (0, 0, 0.045)), (part, (0, 0, 0))]
    return make_system(rows, duration=0.04, detail="draft")


@pytest.fixture
def run(ball):
    """Its release."""
    return release_with_accuracy(ball)


def test_speed_and_energy_of_the_first_blow_have_bars_that_hold(ball, run):
    found, blow = run.accuracy, run.impacts[0]
    assert found["meshes_code"] == Meshes.ALIKE
    assert (found["coarse_cells"], found["cells"], found["order"]) == (32, 256, 2.0)
    assert found["first_impact_speed_m_s"] == pytest.approx(blow.closing_speed, rel=0.01)
    # against the next finer family: about 1 000 cells
    better = release_with_accuracy(replace(ball, detail="normal")).accuracy
    for name in ("speed_m_s", "kinetic_energy_J", "effective_energy_J", "time_s"):
        quantity, _, unit = name.partition("_m_s" if "m_s" in name else "_J")
        key = f"first_impact_{name}"
        bar = f"first_impact_{quantity}_error_{'m_s' if 'm_s' in name else 'J'}"
        if name == "time_s":
            bar = "first_impact_time_error_s"
        assert unit == ""
        assert abs(found[key] - better[key]) < found[bar] < 0.05 * found[key]


def test_energy_is_that_of_the_speed(run):
    # 1/2 m v^2 of a ball that does not spin; extrapolated apart, so within the bars only
    mass = run.impacts[0].effective_mass
    speed, energy = (run.accuracy[f"first_impact_{k}"] for k in ("speed_m_s", "kinetic_energy_J"))
    assert energy == pytest.approx(mass * speed**2 / 2, rel=1e-3)


def test_a_part_that_snaps_on_one_mesh_only_is_said_so(ball, run):
    fallen = replace(run, impacts=())
    assert said(fallen, run, ball) == (
        Meshes.SNAPS_DIFFER,
        "outcome depends on the mesh: on 256 cells ball snaps, on 32 cells nothing snaps",
    )
    found = compared(fallen, run, two_meshes(ball))
    assert not any(key.startswith("first_impact") for key in found)


def test_another_part_struck_first_is_said_so(ball, run):
    other = replace(run.impacts[0], against="ball", body="magnet")
    code, words = said(replace(run, impacts=(other,)), run, ball)
    assert code == Meshes.FIRST_BLOW_DIFFERS
    assert words == (
        "outcome depends on the mesh: the first blow is ball against magnet on 256 cells,"
        " magnet against ball on 32 cells"
    )


def test_a_run_that_stopped_is_not_compared(ball, run):
    stopped = replace(run, ending=ended(EndReason.LEFT_SCENE, 7.25))
    assert said(stopped, run, ball) == (
        Meshes.NOT_COMPARED,
        "not compared: the run on 32 cells stopped: a body went more than 7.25 m from the scene",
    )


def test_only_iron_and_magnets_snap(make_body, make_system, run):
    assert snapped(run) == {"ball"}
    wood = make_body("ball", Sphere(0.02))
    system = replace(run.system, bodies=(run.system.bodies[0], wood))
    assert not snapped(replace(run, system=system))


def test_without_iron_there_is_one_run_and_no_bar(make_body, make_system):
    block = make_body("block", Box((0.1, 0.1, 0.1)))
    run = release_with_accuracy(make_system([(block, (0, 0, 1))], duration=0.05))
    assert "meshes_code" not in run.accuracy
    assert np.isfinite(run.accuracy["solver_bound_J"])
