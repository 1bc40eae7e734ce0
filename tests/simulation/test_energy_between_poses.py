"""Loads between solved poses: geometry of the pose space, balance, trust, and whole releases."""

from dataclasses import replace

import numpy as np
import pytest
from ring_under_magnet import near, pose_of

from snapsim.magnetics.model import MagneticModel
from snapsim.mechanics.motion_settings import MotionSettings, Tolerances
from snapsim.numerics import rotations
from snapsim.parts.shapes import Box
from snapsim.parts.states import Pose
from snapsim.run.release import release
from snapsim.run.steps import STEPS
from snapsim.simulation.energy_between_poses import EnergyBetweenPoses, pose_space
from snapsim.simulation.loads import interpolation_shares

GRAVITY = np.array([0, 0, -9.80665])
SOLVED = MotionSettings(tolerances=Tolerances(relative=9e-7, length=1e-7, speed=1e-6))
"""The usual steps but for a bound just below that from which loads are interpolated."""


def test_distance_in_pose_space_bounds_how_far_the_matter_moves(bodies):
    """A turn by t about n moves matter by 2 (1 - cos t) I_n / m (mean square, m^2): at most
    2 (1 - cos t) tr I / 2m, since no principal moment exceeds the sum of the others. Root mean
    square over the ring's own points: Monte Carlo, 4e5 of them, 0.5 %."""
    space = pose_space(bodies, (0, 1), GRAVITY)
    rng = np.random.default_rng(1)
    points = rng.uniform(-1, 1, (400_000, 3)) * [0.025, 0.025, 0.005]
    radius = np.hypot(points[:, 0], points[:, 1])
    points = points[(radius < 0.025) & (radius > 0.01)]
    half_trace = np.mean(np.sum(points**2, axis=1))
    shares = []
    for _ in range(8):
        first, second = near(rng, 0.0), near(rng, 0.001)
        moved = [p.position[1] + rotations.rotate(p.quaternion[1], points) for p in (first, second)]
        whole = np.sqrt(np.mean(np.sum((moved[1] - moved[0]) ** 2, axis=1)))
        apart = np.linalg.norm(space.place(first)[0] - space.place(second)[0])
        shift = np.linalg.norm(second.position[1] - first.position[1])
        cosine = 2 * (first.quaternion[1] @ second.quaternion[1]) ** 2 - 1
        expected = np.sqrt(shift**2 + 2 * (1 - cosine) * half_trace)
        assert apart == pytest.approx(expected, rel=5e-3)
        shares.append(whole / apart)
    assert max(shares) < 1.005
    assert min(shares) > 0.7  # about a diameter, a flat ring's matter moves root 1/2 as far


def test_tangents_are_the_derivatives_of_the_point(bodies):
    """Central differences of a displacement and of a turn about each axis: (step/s)^2/6 = 6e-8."""
    space, step = pose_space(bodies, (0, 1), GRAVITY), 1e-5
    pose = near(np.random.default_rng(3), 0.01)
    point, tangent = space.place(pose)
    assert point.shape == (12,)
    for k in range(6):
        ends = []
        for sign in (1, -1):
            move = np.zeros(6)
            move[k] = sign * step
            position, quaternion = pose.position.copy(), pose.quaternion.copy()
            position[1] += move[:3]
            turn = rotations.from_rotation_vector(move[3:] / space.gyration[0])
            quaternion[1] = rotations.multiply(turn, quaternion[1])
            ends.append(space.place(Pose(position, quaternion))[0])
        assert tangent[:, k] == pytest.approx((ends[0] - ends[1]) / (2 * step), abs=1e-7)


def test_loads_on_a_fixed_magnet_balance_those_on_the_part(bodies):
    """The model's own loads come back from the part's slopes alone."""
    space = pose_space(bodies, (0, 1), GRAVITY)
    pose = near(np.random.default_rng(4), 0.005)
    state = MagneticModel(bodies, "draft", 1e-9).evaluate(pose)
    force, torque = space.wrenches(space.slopes(state.force, state.torque), pose.position)
    assert force == pytest.approx(state.force, abs=1e-9 * np.abs(state.force).max())
    assert torque == pytest.approx(state.torque, abs=1e-9 * np.abs(state.torque).max())


def test_two_held_magnets_get_loads_of_their_own(bodies, make_body, materials):
    """With two fixed magnets balance does not tell them apart: their slopes are interpolated."""
    other = make_body("other", Box((0.03, 0.03, 0.03)), materials["magnet"], (1, 0, 0), True)
    scene = (bodies[0], bodies[1], other)
    space = pose_space(scene, (0, 1, 2), GRAVITY)
    model, between = MagneticModel(scene, "draft", 1e-9), EnergyBetweenPoses(space)
    rng = np.random.default_rng(8)

    def placed():
        pose = near(rng, 0.0005)
        pose.position[2] = [0.08, 0, -0.05]
        return pose

    for _ in range(40):
        pose = placed()
        state = model.evaluate(pose)
        between.solved(pose, state.energy, (state.force, state.torque), 1e-3)
    answered = 0
    for _ in range(10):
        pose = placed()
        state, found = model.evaluate(pose), between.level(pose, 1e-3)
        if found is not None:
            answered += 1
            for got, want in zip(found[1:], (state.force, state.torque), strict=True):
                assert got == pytest.approx(want, abs=5e-3 * np.abs(want).max())
    assert answered >= 5


def miss(between, model, pose, load):
    """Error of an answer, as a share of the load."""
    want = model.evaluate(pose)
    wrong = between.space.slopes(load.force - want.force, load.torque - want.torque)
    return between.space.share(wrong, between.space.slopes(want.force, want.torque))


def test_a_heavy_body_does_not_hide_what_is_new_of_the_field(bodies):
    """Errors count as surprises by the field's own loads, the same for a part a million times as
    heavy, though such a part's loads count as known."""
    space = pose_space(bodies, (0, 1), GRAVITY)
    light, heavy = (
        EnergyBetweenPoses(replace(space, weight=factor * space.weight)) for factor in (1.0, 1e6)
    )
    model, rng, allowed = MagneticModel(bodies, "draft", 1e-9), np.random.default_rng(7), 1e-6
    for _ in range(12):
        pose = near(rng, 0.002)
        state = model.evaluate(pose)
        for between in (light, heavy):
            between.solved(pose, state.energy, (state.force, state.torque), allowed)
    assert light.surprises == 12
    assert heavy.surprises == 12


def test_what_is_not_known_is_not_answered(bodies):
    """Nothing before a few poses are solved; most among them, fewer the farther off, and what is
    answered is right to three times what is allowed: a hundred times more let through is not."""
    between = EnergyBetweenPoses(pose_space(bodies, (0, 1), GRAVITY))
    model, rng, allowed = MagneticModel(bodies, "draft", 1e-9), np.random.default_rng(6), 4e-4
    assert between.level(near(rng, 0.001), allowed) is None
    for _ in range(30):
        pose = near(rng, 0.001)
        state = model.evaluate(pose)
        between.solved(pose, state.energy, (state.force, state.torque), allowed)
    answered, missed, loose = [], [], []
    for spread in (0.0005, 0.002, 0.005, 0.01):
        poses = [near(rng, spread) for _ in range(20)]
        found = [between.level(pose, allowed) for pose in poses]
        answered.append(sum(f is not None for f in found))
        missed += [
            miss(between, model, pose, load)
            for pose, load in zip(poses, found, strict=True)
            if load is not None
        ]
        loose += [
            miss(between, model, pose, load)
            for pose in poses
            if (load := between.level(pose, 100 * allowed)) is not None
        ]
    assert answered[0] >= 15
    assert answered[3] <= 2
    assert max(missed) < 3 * allowed
    assert max(loose) > 10 * allowed
    assert between.level(pose_of([0.06, 0.02, -0.09], np.zeros(3)), allowed) is None


def test_a_snap_comes_out_as_with_every_pose_solved(snap):
    """The first blow's energy within 1e-5 of itself (loads may err by 2e-5 in flight) on fewer than
    half the solves, and the errors met stay within a few times what was allowed."""
    runs = [release(snap, settings=settings) for settings in (STEPS, SOLVED)]
    quick, slow = (run.impacts[0] for run in runs)
    assert runs[1].accuracy["interpolated_loads"] == 0
    assert runs[0].accuracy["interpolated_loads"] > 100
    assert quick.kinetic_energy == pytest.approx(slow.kinetic_energy, rel=1e-5)
    assert quick.time == pytest.approx(slow.time, rel=1e-6)
    assert runs[0].cost.field_evaluations < 0.6 * runs[1].cost.field_evaluations
    assert runs[0].accuracy["interpolation_error_worst"] < 1e-3
    assert runs[0].audit.unaccounted_fraction < 1e-3


def test_loads_of_four_parts_that_magnetise_each_other_are_interpolated(
    make_body, make_system, materials
):
    """Above three bodies only where several have cells: a solved pose then costs most."""
    grade = make_body("magnet", Box((0.1, 0.1, 0.04)), materials["magnet"], (0, 0, 1), fixed=True)
    places = [(-0.02, 0, -0.06), (0.02, 0.003, -0.063), (0, 0.025, -0.066), (0.003, -0.025, -0.07)]
    cube, iron = Box((0.012, 0.014, 0.01)), materials["iron"](200.0, 1.8)
    rows = [(make_body(f"part{k}", cube, iron), at) for k, at in enumerate(places)]
    system = make_system([(grade, (0, 0, 0.02)), *rows], detail=24, duration=0.03)
    run = release(system)
    assert run.accuracy["interpolated_loads"] > 0.5 * run.cost.field_evaluations
    assert run.audit.unaccounted_fraction < 1e-3
    assert pose_space(system.bodies, range(5), GRAVITY) is None


def test_tight_bounds_solve_every_pose():
    """What a bound of the integrator allows the loads; none at all below one in a million."""
    assert interpolation_shares(1e-8) is None
    assert interpolation_shares(1e-6) == pytest.approx((2e-5, 1e-4))
    assert interpolation_shares(3e-4) == pytest.approx((3e-4, 1e-3))
    assert interpolation_shares(1e-6, several=True) == pytest.approx((1e-4, 5e-4))
    assert interpolation_shares(1e-8, several=True) is None
