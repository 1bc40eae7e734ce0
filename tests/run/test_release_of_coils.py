"""A held disc falls when a coil's current ends; the supply's work is a line of the audit."""

from dataclasses import replace

import numpy as np
import pytest

from snapsim.run.release import release, shared_loads
from snapsim.scenario.loading import scene_from_text
from snapsim.simulation.current_stages import stages_of, standing_at

SCENE = """
title = "Invented: a disc under a coil"
[[body]]
name = "coil"
shape = {{ kind = "ring", outer_diameter = "80 mm", inner_diameter = "40 mm", length = "30 mm" }}
material = "copper winding"
turns = 1500
current = {current}
position = "0, 0, 0 mm"
fixed = true
{more}
[[body]]
name = "disc"
shape = {{ kind = "cylinder", diameter = "60 mm", length = "2 mm" }}
material = "low-carbon steel"
position = "0, 0, {height} mm"
[run]
duration = "{duration}"
detail = "draft"
"""


def scene(current='"5 A"', more="", height="-16", duration="0.1 s"):
    text = SCENE.format(current=current, more=more, height=height, duration=duration)
    return scene_from_text(text, "coil.toml")


def test_it_hangs_until_the_current_ends_and_falls_freely_then():
    """h = g t^2/2 from the moment of the switch; the disc had been pressed to the coil."""
    run = release(scene(more='switch_off = "40 ms"'))
    place, before = run.position[:, 1, 2], run.time <= 0.04
    assert np.abs(place[before] + 0.016).max() < 2e-6
    assert np.abs(run.force[before, 1, 2][:-1]).min() > 5.0
    late = run.time - 0.04
    fallen = np.where(late > 0, 0.5 * 9.80665 * late**2, 0.0)
    assert np.abs(place + 0.016 + fallen).max() < 2e-6
    # what is given up at the switch went to the supply, not to the motion
    held, off = np.flatnonzero(run.time == 0.04)
    assert run.energy["magnetic"][off] == 0
    assert run.work["supply"][-1] == pytest.approx(-run.energy["magnetic"][held], rel=1e-12)
    assert run.audit.supply_work == run.work["supply"][-1]
    assert run.audit.unaccounted_fraction < 1e-3


def test_it_falls_off_a_waning_current_when_the_pull_is_its_weight():
    """The pull of unsaturated iron goes with the square of the current (from a run's own first
    frame), which falls from 5 A to 1 A along a line: the moment is known to a step of it."""
    run = release(scene('[["0 s", "5 A"], ["20 ms", "5 A"], ["60 ms", "0.5 A"]]'))
    weight = 9.80665 * run.system.bodies[1].mass
    at = 5.0 * np.sqrt(weight / run.force[0, 1, 2])
    moment = 0.02 + 0.04 * (5.0 - at) / 4.5
    left = run.time[np.argmax(run.position[:, 1, 2] < -0.016 - 2e-6)]
    assert left == pytest.approx(moment, abs=0.04 / 4.5 * 5 / 24 + 1e-3)
    assert run.audit.unaccounted_fraction < 1e-3
    assert np.all(np.diff(run.work["supply"]) >= 0)


def test_a_jump_while_the_disc_flies():
    """The audit holds over a change in flight; with a steady current the same run is unchanged."""
    given = {"height": "-40", "duration": "50 ms"}
    steady = release(scene(**given))
    run = release(scene('[["0 s", "5 A"], ["4 ms", "5 A"], ["4 ms", "-12 A"]]', **given))
    assert run.audit.unaccounted_fraction < 1e-3
    assert run.work["supply"][-1] < 0  # a stronger current: the supply gives
    first = run.time <= 0.004
    for k in np.flatnonzero(first)[::3]:
        there = np.interp(run.time[k], steady.time, steady.position[:, 1, 2])
        assert run.position[k, 1, 2] == pytest.approx(there, abs=1e-8)
    assert "supply" not in steady.work


def test_stages():
    system = scene('[["0 s", "0 A"], ["10 ms", "4 A"], ["20 ms", "4 A"], ["20 ms", "1 A"]]')
    stages = stages_of(system.bodies)
    assert len(stages) == 24 + 2
    currents = [standing_at(system, s.middle).bodies[0].coil.current[0] for s in stages]
    assert currents[:2] == pytest.approx([4 / 48, 12 / 48])
    assert currents[-2:] == [4.0, 1.0]
    assert [s.end for s in stages[:-1]] == [s.begin for s in stages[1:]]


def test_loads_are_shared_by_like_currents_only():
    system = scene('[["0 s", "5 A"], ["1 ms", "5 A"], ["1 ms", "0 A"], ["2 ms", "0 A"],'
                   ' ["2 ms", "5 A"]]')  # fmt: skip
    loads = shared_loads(system)
    assert loads.of(0) is loads.of(2)
    assert loads.of(0) is not loads.of(1)
    pose = system.start.pose
    assert loads.of(0).contact(pose)[0][1, 2] > 5
    assert not loads.of(1).contact(pose)[0].any()
    other = replace(system, duration=0.5)
    assert loads.serving(other).of(0) is loads.of(0)
