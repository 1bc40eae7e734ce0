"""A rehearsal: the hand holds, carries, lets go and loses the part, and the books stay balanced."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from snapsim.mechanics.ending import Parting
from snapsim.page import edits
from snapsim.run.rehearsal import HAND_SPEED, SLICE, Rehearsal, slice_at
from snapsim.run.release import release
from snapsim.scenario.loading import scene_from_text
from snapsim.scenario.text_file import toml_document
from snapsim.scenario.toml_text import rewritten
from snapsim.simulation.system import System
from snapsim.simulation.trajectory import Trajectory

UP = np.array([0.0, 0.0, 1.0])


@pytest.fixture(scope="module")
def scene() -> System:
    return scene_from_text(edits.NEW, "new.toml", [])


def begun(scene: System, limit: float = 60.0) -> Rehearsal:
    return Rehearsal(scene, scene.number("disc"), limit)


def kept(r: Rehearsal) -> Trajectory:
    document = toml_document(edits.NEW, "new.toml")
    found = edits.with_hand_that_moved(document, "disc", "hand", r.places, r.parted, r.limit)
    run = {"duration": f"{r.time:.6f} s", "detail": "draft"}
    return r.trajectory(scene_from_text(rewritten(edits.NEW, found | {"run": run}), "new.toml", []))


def test_lifted_the_hand_bears_the_weight_less_the_pull(scene: System) -> None:
    r = begun(scene)
    start = scene.start.pose.position[r.part]
    for _ in range(70):
        moment = r.step((start + 0.02 * UP, scene.start.pose.quaternion[r.part]))
    assert moment.held
    np.testing.assert_allclose(
        moment.force + moment.pull, [0.0, 0.0, r.weight], atol=1e-3 * r.weight
    )
    height = r.state.pose.position[r.part][2] - start[2]
    gripped = r.spring.lift[2] * r.spring.stiffness  # what it bore at first
    sag = (gripped - float(moment.force[2])) / r.spring.stiffness  # of a spring, Hooke's
    assert height == pytest.approx(0.02 + sag, abs=1e-5)


def test_carried_too_near_it_is_torn_away_and_the_run_is_one_like_any_other(scene: System) -> None:
    r = begun(scene)
    start, turn = scene.start.pose.position[r.part], scene.start.pose.quaternion[r.part]
    moments, lifts = [], []
    while not r.lost and r.time < 3:
        lifts.append(r.ahead(0.03))
        moments.append(r.step((start + min(0.09, 0.09 * r.time) * UP, turn)))
    for _ in range(60):
        r.step(None)
    assert r.lost
    assert max(m.used for m in moments) <= 1 + 1e-12
    torn = next(k for k, m in enumerate(moments) if m.blows)
    soon = 0.5 * 0.09  # what the page warns of: half a second of the hand's way
    warned = next(k for k, ahead in enumerate(lifts) if ahead.beats < soon)
    assert warned < torn - 18  # 0.3 s, more than a person takes to react
    run = kept(r)
    assert run.outcome != "untrusted"
    assert run.audit.unaccounted_fraction < 1e-3
    assert run.audit.hold_work != 0
    load = run.loads["hand"]
    assert load.why is Parting.TORN_AWAY
    assert load.peak_force <= 60.0
    assert {i.against for i in run.impacts} == {"magnet"}


def test_let_go_at_once_it_falls_as_in_a_release(scene: System) -> None:
    lifted = replace(scene, duration=0.25)
    position = scene.start.pose.position.copy()
    position[scene.number("disc")] += 0.02 * UP
    pose = replace(scene.start.pose, position=position)
    lifted = replace(lifted, detail="draft", start=replace(scene.start, pose=pose))
    r = begun(lifted)
    r.let_go()
    while r.time < 0.25:
        r.step(None)
    run = release(lifted)
    rehearsed, released = r.log.impacts[0], run.impacts[0]
    assert rehearsed.time == pytest.approx(released.time, abs=1e-6)
    assert rehearsed.closing_speed == pytest.approx(released.closing_speed, rel=1e-4)


def test_the_hand_goes_no_faster_than_hands_do(scene: System) -> None:
    r = begun(scene)
    before = r.wanted[0]
    r.step((before + UP, scene.start.pose.quaternion[r.part]))
    assert np.linalg.norm(r.wanted[0] - before) == pytest.approx(HAND_SPEED * SLICE)


def test_at_rest_only_time_goes_on_until_the_hand_moves(scene: System) -> None:
    r = begun(scene)
    r.let_go()
    for _ in range(40):
        r.step(None)
    frames, solved = len(r.log.frames), r.loads.evaluations
    for _ in range(30):
        r.step(None)
    assert (len(r.log.frames), r.loads.evaluations) == (frames, solved)
    assert r.time == pytest.approx(70 * SLICE)
    r.hold_again()
    start = r.state.pose.position[r.part]
    for _ in range(60):
        r.step((start + 0.01 * UP, r.state.pose.quaternion[r.part]))
    assert r.state.pose.position[r.part][2] > start[2] + 0.008
    assert r.time == pytest.approx(130 * SLICE)


def test_a_slowed_rehearsal_has_shorter_slices() -> None:
    assert slice_at(1.0) == SLICE
    assert slice_at(0.25) == SLICE / 4
    assert slice_at(0.01) == SLICE / 8
