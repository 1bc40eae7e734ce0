"""The JSON objects of `release` and `force`: their keys, plain numbers, no NaN."""

import json
from dataclasses import replace

import numpy as np
import pytest

from snapsim.analysis.cautions import CAUTIONS
from snapsim.analysis.summary import force_summary, kinetic_energy, summary
from snapsim.analysis.tables import force_table, release_table
from snapsim.mechanics.ending import EndReason, Parting, ended
from snapsim.scenario.loading import scene_from_text
from snapsim.simulation.trajectory import Audit, Cost, Impact, Load, Trajectory

SCENE = """
title = "A box [bold] spins"

[[body]]
name = "[red]box"
shape = { kind = "box", size = "10 x 20 x 30 cm" }
material = "aluminium"
position = "0, 0, 1 m"

[[body]]
name = "table"
shape = { kind = "box", size = "1 x 1 x 0.1 m" }
material = "oak"
position = "0, 0, -0.05 m"
fixed = true
"""


@pytest.fixture
def run():
    """Two frames: a box of 16.2 kg at 2 m/s, turning at 3 rad/s about its own z axis."""
    system = scene_from_text(SCENE, "scene.toml")
    zeros = np.zeros((2, 2, 3))
    velocity, spin = zeros.copy(), zeros.copy()
    velocity[:, 0] = [[0, 0, -1], [0, 2, 0]]
    turned = np.full(4, 0.5)  # 120 deg about (1, 1, 1): body x to world y, y to z, z to x
    quaternion = np.tile([1.0, 0, 0, 0], (2, 2, 1))
    quaternion[1, 0] = turned
    spin[1, 0] = [3.0, 0, 0]
    blow = Impact(
        0.25,
        "[red]box",
        "table",
        np.array([1.0, 2, 3]),
        np.array([0, 0, 1.0]),
        2.0,
        8.1,
        4.0,
        8.0,
        5.0,
        (float("nan"), 1e4),
    )
    return Trajectory(
        system=system,
        ending=ended(EndReason.TIME_UP, 0.5),
        time=np.array([0.0, 0.5]),
        position=zeros + np.array([0, 0, 1]),
        quaternion=quaternion,
        velocity=velocity,
        spin=spin,
        force=zeros,
        torque=zeros,
        energy={k: np.zeros(2) for k in ("kinetic", "gravity", "magnetic", "dissipated")},
        gap=np.full(2, np.nan),
        cells={},
        magnetisation={},
        impacts=(blow,),
        loads={"table": Load(20.0, 0.1)},
        audit=Audit(0.0, 1, 2, 3, 4, 1e-9, 2e-9, 0, 0, 0),
        cost=Cost(10, 20, 0.5),
        accuracy={"detail": "normal", "solver_bound_J": float("nan")},
    )


def test_the_release_object_has_the_agreed_keys(run):
    result = summary(run)
    assert list(result) == [
        "title",
        "outcome",
        "reason",
        "reason_code",
        "simulated_s",
        "bodies",
        "impacts",
        "loads",
        "energy",
        "cost",
        "accuracy",
        "twins",
    ]
    assert list(result["bodies"]["[red]box"]) == [
        "mass_kg",
        "max_speed_m_s",
        "max_kinetic_energy_J",
        "final_position_m",
        "final_quaternion",
    ]
    assert list(result["impacts"][0]) == [
        "time_s",
        "body",
        "against",
        "point_m",
        "normal",
        "closing_speed_m_s",
        "kinetic_energy_J",
        "effective_mass_kg",
        "effective_energy_J",
        "impulse_Ns",
        "peak_force_N",
    ]
    assert result["loads"] == {"table": {"peak_force_N": 20.0, "peak_time_s": 0.1}}
    assert list(result["energy"])[:3] == [
        "magnetic_released_J",
        "unaccounted_J",
        "unaccounted_fraction",
    ]
    assert set(result["energy"]) >= {"field", "integrator", "events"}
    assert set(result["cost"]) == {"field_evaluations", "steps", "wall_s"}


def test_the_three_parts_of_the_audit_are_there_and_shown(run):
    told = {"field_work": 3.0, "all_work": 2.5}
    audit = Audit(3.0, 1.0, 2.5, 0.75, 0.25, 1e-9, 2e-9, 3e-8, 4e-8, 0.0, 0.5, **told)
    result = summary(replace(run, audit=audit))["energy"]
    assert result["field"] == {"work_J": 3.0, "released_J": 3.0, "largest_misfit_J": 3e-8}
    assert result["integrator"] == {
        "work_J": 2.5,
        "kinetic_change_J": 2.5,
        "largest_misfit_J": 4e-8,
    }
    assert result["events"] == {"impact_loss_J": 0.75, "friction_loss_J": 0.25, "gained_J": 0.0}
    assert (result["gravity_released_J"], result["hold_work_J"]) == (1.0, 0.5)
    text = shown(release_table(summary(replace(run, audit=audit))))
    assert "work 3 J against 3 J released, at most 3e-08 J apart" in text
    assert "blows took 0.75 J, friction 0.25 J, gained 0 J" in text


def test_loads_show_what_is_borne_at_the_end_and_why_a_joint_parted(run):
    loads = {
        "table": Load(20.0, 0.1, 3.0, 0.2, 12.0, 1.5),
        "[b]string": Load(110.0, 0.3, 0.0, 0.0, 95.0, 0.0, 0.31, Parting.FORCE_LIMIT),
    }
    result = summary(replace(run, loads=loads))
    assert result["loads"]["table"] == {
        "peak_force_N": 20.0,
        "peak_time_s": 0.1,
        "peak_torque_Nm": 3.0,
        "peak_torque_time_s": 0.2,
        "last_force_N": 12.0,
        "last_torque_Nm": 1.5,
    }
    assert result["loads"]["[b]string"]["parted_why"] == "its force limit was passed"
    assert result["loads"]["[b]string"]["parted_code"] == "force_limit"
    text = shown(release_table(result))
    assert "[b]string parted at 0.3100 s: its force limit was passed" in text
    assert "at end" in text


@pytest.mark.parametrize(
    ("chances", "code", "said"),
    [
        ((0.2, 0.6, 0.995), "likely", "likely to chip: chance 60 %, 20 % to above 99 %"),
        ((0.0, 1e-3, 0.1), "possible", "may chip: chance 0.1 %, below 0.01 % to 10 %"),
        (
            (0.0, 0.0, 5e-3),
            "not_shown",
            "not shown to chip; flaws and edges may do it all the same",
        ),
        ((float("nan"),) * 3, "not_judged", "not judged: the magnet's strength or stiffness"),
    ],
)
def test_a_blow_on_a_magnet_says_what_it_may_do_and_never_that_it_holds(run, chances, code, said):
    stress = (2e7, 9e7)
    blow = replace(run.impacts[0], edge_stress=stress, magnet_strength=75e6, chipping=chances)
    result = summary(replace(run, impacts=(run.impacts[0], blow)))
    assert "magnet_chipping" not in result["impacts"][0]
    found = result["impacts"][1]
    assert found["magnet_chipping"].startswith(said)
    assert found["magnet_chipping_code"] == code
    assert found["magnet_edge_stress_Pa"] == list(stress)
    text = shown(release_table(result))
    assert "magnet: " + said.split(";")[0] in text
    assert not any(word in text for word in ("safe", "holds", "withstands", "100 %", " 0 %"))


def test_nan_becomes_null_and_all_else_plain_numbers(run):
    result = summary(run)
    assert result["impacts"][0]["peak_force_N"] == [None, 1e4]
    assert result["accuracy"] == {"detail": "normal", "solver_bound_J": None}
    text = json.dumps(result, allow_nan=False)
    assert json.loads(text) == result


def test_kinetic_energy_counts_motion_and_turning_about_the_bodys_own_axes(run):
    # m v^2/2 + I w^2/2 with I_z = m (a^2 + b^2)/12 of a block (Goldstein, Poole & Safko, Classical
    # Mechanics, 3rd ed., ch. 5; from memory): 16.2 kg, 2 m/s; 0.1 x 0.2 m, 3 rad/s
    expected = 0.5 * 16.2 * 4 + 0.5 * (16.2 * (0.01 + 0.04) / 12) * 9
    np.testing.assert_allclose(kinetic_energy(run, 0), [0.5 * 16.2, expected], rtol=1e-14)
    assert summary(run)["bodies"]["[red]box"]["max_kinetic_energy_J"] == pytest.approx(expected)
    assert summary(run)["bodies"]["[red]box"]["max_speed_m_s"] == 2.0
    assert summary(run)["bodies"]["table"]["max_kinetic_energy_J"] == 0.0


def shown(what):
    """Text of a table, wide enough for one line a row."""
    import io

    from rich.console import Console

    text = io.StringIO()
    Console(file=text, width=200).print(what)
    return text.getvalue()


def test_the_release_table_shows_names_as_they_are_and_the_cautions(run):
    text = shown(release_table(summary(run)))
    assert "A box [bold] spins" in text
    assert "[red]box" in text
    assert "- to 10" in text  # kN
    for caution in CAUTIONS:
        assert caution.split(":")[0][:40] in text


def test_a_run_with_unaccounted_energy_is_marked(run):
    result = summary(run)
    assert "do not rely" not in shown(release_table(result))
    for share in (2e-3, None):
        result["energy"]["unaccounted_fraction"] = share
        assert "do not rely on it" in shown(release_table(result))


def test_the_release_table_says_what_was_interpolated_and_how_well(run):
    """Nothing where nothing was; else how many loads, and the errors met at checks."""
    assert "interpolated" not in shown(release_table(summary(run)))
    met = {"interpolation_checks": 7.0, "interpolation_error_median": 3e-6}
    known = {**run.accuracy, "interpolated_loads": 90.0, **met, "interpolation_error_worst": 2e-4}
    text = shown(release_table(summary(replace(run, accuracy=known))))
    assert "10 field evaluations and 90 interpolated between them" in text
    assert "(error at 7 checks: median 3e-06, worst 0.0002 of the load)" in text
    known |= {"interpolated_magnetisation_error_worst": 0.0011}
    text = shown(release_table(summary(replace(run, accuracy=known))))
    assert "of the load; magnetisation at frames within 0.0011 of itself)" in text


def test_the_force_object_has_the_agreed_keys(run):
    class Report:
        system = run.system
        force = np.array([[1.0, 2, 3], [0, 0, 0]])
        torque = np.array([[0.1, 0.2, np.nan], [0, 0, 0]])
        mean_polarisation = np.zeros((2, 3))
        peak_polarisation = np.zeros(2)
        cells = (0, 0)
        magnetic_energy = -1.5
        pull_off = ()
        accuracy = None
        close = ()
        between = None

    result = force_summary(Report())
    assert list(result) == ["title", "bodies", "magnetic_energy_J"]
    assert result["bodies"]["[red]box"] == {
        "mass_kg": pytest.approx(16.2),
        "force_N": [1.0, 2.0, 3.0],
        "torque_Nm": [0.1, 0.2, None],
        "mean_polarisation_T": [0.0, 0.0, 0.0],
        "peak_polarisation_T": 0.0,
        "cells": 0,
    }
    text = shown(force_table(result))
    assert "[red]box" in text
    assert CAUTIONS[0][:40] in text
