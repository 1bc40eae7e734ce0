"""What a run has to tell, on motions made up so that every event's time is known."""

import dataclasses

import numpy as np
import pytest

from snapsim.mechanics.ending import Parting
from snapsim.numerics import rotations
from snapsim.render.events import (
    APPROACH,
    EventKind,
    find_events,
    lean,
    main_blow,
    partings,
    resisting,
    righting,
)
from snapsim.render.lines import blow_words, line_of
from snapsim.render.readings import impact_line
from snapsim.simulation.trajectory import Load
from snapsim.words.answers import strike_sentences

PART = 1


def with_series(run, **series):
    """The run with one body's series replaced: name -> (k, 3)."""
    changed = {}
    for name, values in series.items():
        every = getattr(run, name).copy()
        every[:, PART] = values
        changed[name] = every
    return dataclasses.replace(run, **changed)


def kinds(run):
    return [e.kind for e in find_events(run)]


def of(run, kind):
    return next(e for e in find_events(run) if e.kind == kind)


@pytest.fixture(scope="module")
def weight(trajectory):
    body = trajectory.system.bodies[PART]
    return body.mass * 9.80665


def test_it_resists_until_the_pull_passes_its_weight(trajectory, weight):
    """Pull 0.6 to 1.6 of the weight over 0.1 s, speed above 0.1 m/s throughout: equal at 0.04 s."""
    t = trajectory.time
    pull = weight * (0.6 + 10 * t)
    run = with_series(trajectory, force=pull[:, None] * [0, 0, 1], velocity=np.ones((len(t), 3)))
    still, off = resisting(run, PART)
    assert (still.start, still.end) == (0.0, pytest.approx(0.04, abs=0.004))
    assert off.kind == EventKind.LIFT_OFF
    assert still.figure == pytest.approx(0.6)
    assert off.figure == pytest.approx(1.0, abs=0.05)


def test_what_falls_freely_does_not_resist_and_what_is_held_back_is_not_lifted(trajectory, weight):
    t = trajectory.time
    down = np.where(t < 0.05, 9.80665 * t, 0.2)
    pull = np.where(t < 0.05, 0.3 * weight, 1.5 * weight)
    run = with_series(
        trajectory, force=pull[:, None] * [0, 0, 1], velocity=-down[:, None] * [0, 0, 1]
    )
    assert resisting(run, PART) == []
    leaning = with_series(run, velocity=-0.5 * down[:, None] * [0, 0, 1])
    assert [e.kind for e in resisting(leaning, PART)] == [EventKind.RESISTING]


def test_a_part_that_sinks_evenly_while_its_weight_becomes_heat_drifts(trajectory, weight):
    t = trajectory.time
    run = with_series(trajectory, velocity=np.full((len(t), 3), [0.0, 0.0, -0.05]))
    heat = {**run.energy, "joule_heat": 0.05 * weight * t}
    run = dataclasses.replace(run, energy=heat, currents={"pipe": np.zeros((len(t), 1))})
    found = of(run, EventKind.DRIFTING)
    assert found.bodies == (PART,)
    assert found.figure == pytest.approx(0.05)
    cold = dataclasses.replace(run, energy={**run.energy, "joule_heat": 0 * t})
    assert EventKind.DRIFTING not in kinds(cold)


def test_a_part_whose_motion_becomes_heat_is_braked(trajectory):
    t = trajectory.time
    left = np.exp(-t / (0.15 * t[-1]))
    run = with_series(trajectory, velocity=2.0 * left[:, None] * [1.0, 0.0, 0.0])
    energy = {**run.energy, "kinetic": 3.0 * left**2, "joule_heat": 3.0 * (1 - left**2)}
    run = dataclasses.replace(run, energy=energy, currents={"plate": np.zeros((len(t), 1))})
    found = of(run, EventKind.BRAKING)
    assert found.bodies == (PART,)
    assert found.figure == pytest.approx(0.98, abs=0.02)
    assert found.start < 0.05 * t[-1] < found.end < 0.5 * t[-1]
    rubbed = {**energy, "joule_heat": 0.3 * energy["joule_heat"]}  # friction took the rest
    assert EventKind.BRAKING not in kinds(dataclasses.replace(run, energy=rubbed))
    driven = {**energy, "kinetic": np.full(len(t), 3.0)}  # and a pull gave it back
    assert EventKind.BRAKING not in kinds(dataclasses.replace(run, energy=driven))


def test_a_part_without_weight_does_not_resist(trajectory):
    system = dataclasses.replace(trajectory.system, gravity=np.zeros(3))
    assert resisting(dataclasses.replace(trajectory, system=system), PART) == []


def test_righting_is_where_it_turns_faster_than_half_its_fastest(trajectory):
    """w = 20 sin(pi t / 0.15) is above half from 0.025 to 0.125 s, 20*0.15/pi*sqrt 3 rad on."""
    t = trajectory.time
    rate = np.where(t < 0.15, 20 * np.sin(np.pi * np.minimum(t, 0.15) / 0.15), 0.0)
    run = with_series(trajectory, spin=rate[:, None] * [0, 1, 0])
    (found,) = righting(run, PART)
    assert (found.start, found.end) == pytest.approx((0.025, 0.125), abs=0.004)
    assert found.figure == pytest.approx(np.degrees(20 * 0.15 / np.pi * np.sqrt(3)), rel=0.05)


def test_what_swings_only_in_the_approach_is_not_righting(trajectory):
    t, blow = trajectory.time, trajectory.impacts[0].time
    rate = np.where(t > blow - APPROACH + 1e-6, 400.0, 0.0)
    assert righting(with_series(trajectory, spin=rate[:, None] * [0, 1, 0]), PART) == []


def test_parting_is_the_time_over_which_two_free_parts_move_apart(trajectory):
    t = trajectory.time
    bodies = list(trajectory.system.bodies)
    bodies[2] = dataclasses.replace(bodies[2], fixed=False)
    system = dataclasses.replace(trajectory.system, bodies=tuple(bodies))
    position = trajectory.position.copy()
    position[:, 2] = position[:, PART] + [0.1, 0, 0]
    position[:, 2, 0] += 0.05 * np.clip((t - 0.3) / 0.2, 0, 1)
    (found,) = partings(dataclasses.replace(trajectory, system=system, position=position))
    assert found.bodies == (PART, 2)
    assert found.figure == pytest.approx(0.05, rel=0.05)
    assert found.start == pytest.approx(0.3, abs=0.015)


def test_approach_impact_and_rest_are_at_the_run_s_own_times(trajectory):
    blow = trajectory.impacts[0]
    near, strike = of(trajectory, EventKind.APPROACH), of(trajectory, EventKind.IMPACT)
    assert (near.start, near.end) == pytest.approx((blow.time - APPROACH, blow.time))
    assert (strike.start, strike.figure) == (blow.time, blow.kinetic_energy)
    assert of(trajectory, EventKind.REST).start == trajectory.time[-1]


def test_a_brush_with_a_hundredth_of_the_energy_is_no_main_blow(trajectory):
    blow = trajectory.impacts[0]
    small = dataclasses.replace(blow, effective_energy=0.01 * blow.effective_energy)
    run = dataclasses.replace(trajectory, impacts=(small,))
    assert main_blow(run) is None
    assert EventKind.IMPACT not in kinds(run)
    assert main_blow(trajectory) is blow


def test_a_hand_that_lets_go_is_told_once_and_one_that_held_is_not(trajectory):
    gone, held = Load(1.0, 0.0, parted=0.07), Load(1.0, 0.0)
    run = dataclasses.replace(trajectory, loads={"a": gone, "b": gone, "c": held})
    assert [e.start for e in find_events(run) if e.kind == EventKind.LET_GO] == [0.07]


def test_a_string_that_bears_no_more_gives_way_and_its_load_is_told(trajectory):
    loads = {"string": Load(110.0, 0.07, parted=0.07, why=Parting.FORCE_LIMIT)}
    run = dataclasses.replace(trajectory, loads=loads)
    event = of(run, EventKind.GIVING_WAY)
    assert event.start == 0.07
    assert line_of(event, run) == ("110\u00a0N", "the string breaks")


def test_of_two_that_both_move_the_larger_energy_is_told(trajectory):
    """Equal masses m that meet at 2 v: each has m v^2 / 2, the blow (m / 2) (2 v)^2 / 2 = m v^2."""
    blow = dataclasses.replace(trajectory.impacts[0], kinetic_energy=7.15, effective_energy=14.3)
    assert blow_words(blow)[0] == "14\u00a0J"
    assert "14.30 J" in impact_line(blow)


def test_a_slide_that_jams_is_nowhere_said_to_strike(trajectory):
    """Film, announcement and release decide alike, and none calls its closing speed a meeting."""
    blow = dataclasses.replace(trajectory.impacts[0], jammed=True)
    run = dataclasses.replace(trajectory, impacts=(blow,))
    for said in (blow_words(blow)[1], impact_line(blow), *strike_sentences(run)):
        assert "jams on" in said
        assert "as hard as at" in said
        assert "strikes" not in said
        assert "where they meet" not in said


def test_a_part_that_is_pulled_sideways_is_not_said_to_be_lifted(trajectory, weight):
    t = trajectory.time
    moving = np.where(t < 0.05, 0.0, 1.0)[:, None] * [1.0, 0, 0]
    pulled = np.full((len(t), 3), [1.5 * weight, 0.0, 0.0])
    run = with_series(trajectory, force=pulled, velocity=moving)
    _, said = line_of(of(run, EventKind.LIFT_OFF), run)
    assert said == "the pull, sideways: it sets out"
    up = with_series(run, force=pulled[:, [2, 1, 0]], velocity=moving[:, [2, 1, 0]])
    assert line_of(of(up, EventKind.LIFT_OFF), up)[1].endswith("of weight: it sets out")


@pytest.mark.parametrize("degrees", [0.0, 30.0, 90.0])
def test_lean_of_a_flat_part(trajectory, degrees):
    quaternion = trajectory.quaternion.copy()
    quaternion[:, PART] = rotations.from_axis_angle([0, 1, 0], np.radians(degrees))
    run = dataclasses.replace(trajectory, quaternion=quaternion)
    assert lean(run, PART, 0.1) == pytest.approx(degrees, abs=1e-6)


def test_a_run_of_one_frame_has_a_release_and_a_rest(one_frame):
    assert kinds(one_frame) == [EventKind.RELEASE, EventKind.REST]


def test_another_part_s_first_blow_after_the_main_one_is_told(trajectory):
    main = dataclasses.replace(trajectory.impacts[0], effective_energy=3.0, kinetic_energy=3.0)
    rebound = dataclasses.replace(main, time=0.2, effective_energy=1.0)
    other = dataclasses.replace(
        main, time=0.25, body="table", against="magnet", effective_energy=0.4, kinetic_energy=0.5
    )
    run = dataclasses.replace(trajectory, impacts=(main, rebound, other))
    event = of(run, EventKind.OTHER_BLOW)
    assert event.start == 0.25
    assert line_of(event, run)[0] == "0.5\u00a0J"
    alone = dataclasses.replace(trajectory, impacts=(main, rebound))
    assert EventKind.OTHER_BLOW not in kinds(alone)
