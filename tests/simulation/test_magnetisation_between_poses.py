"""Magnetisation between solved poses: the mixture, what it says of its error, whole releases."""

import numpy as np
import pytest
from ring_under_magnet import near
from scipy.interpolate import RBFInterpolator

from snapsim.magnetics.model import MagneticModel, MagneticState
from snapsim.mechanics.records import Frame, Tally
from snapsim.parts.states import Pose, State
from snapsim.run import run_log
from snapsim.run.release import release
from snapsim.run.run_log import CHECKED, FAITHFUL, PATIENT, RunLog, middles
from snapsim.simulation.energy_between_poses import PoseEnergy, pose_space
from snapsim.simulation.loads import MagneticLoads
from snapsim.simulation.magnetisation_between_poses import (
    FEWEST,
    NEAREST,
    NUGGET,
    MagnetisationBetweenPoses,
)

GRAVITY = np.array([0, 0, -9.80665])


def solved(bodies, poses):
    """Places and all cells' magnetisation at some poses."""
    model, space = MagneticModel(bodies, "draft", 1e-9), pose_space(bodies, (0, 1), GRAVITY)
    states = [model.evaluate(pose) for pose in poses]
    return (
        np.array([space.place(pose)[0] for pose in poses]),
        np.array([state.magnetisation[0].ravel() for state in states]),
        float(space.gyration.max()),
    )


def size(rows):
    return np.sqrt(np.mean(rows**2, axis=-1))


def test_the_mixture_is_that_of_gaussian_radial_functions():
    """Against scipy's interpolator through the same nearest places: it is told the nearest one's
    value as the constant. 1e-6: the matrix' condition times rounding."""
    rng = np.random.default_rng(3)
    points, rows, length = rng.normal(size=(40, 4)), rng.normal(size=(40, 6)), 1.3
    between = MagnetisationBetweenPoses(points, rows, length)
    for at in rng.normal(size=(5, 4)):
        order = np.argsort(np.sum((points - at) ** 2, axis=1))[:NEAREST]
        base = rows[order[0]]
        reference = RBFInterpolator(
            points[order], rows[order] - base, kernel="gaussian",
            epsilon=1 / (np.sqrt(2) * length), smoothing=NUGGET, degree=-1,
        )  # fmt: skip
        mixed = between.mixed(between.guess(at[None]))[0]
        assert mixed == pytest.approx(base + reference(at[None])[0], rel=1e-6, abs=1e-6)


def test_what_was_solved_is_met(bodies):
    """But for the nugget, which leaves the root of 1e-8."""
    rng = np.random.default_rng(4)
    points, rows, length = solved(bodies, [near(rng, 0.002) for _ in range(20)])
    between = MagnetisationBetweenPoses(points, rows, length)
    mixed = between.mixed(between.guess(points))
    assert np.all(size(mixed - rows) < 3e-4 * size(rows))


def test_errors_are_what_is_expected_or_less(bodies):
    """Nine of ten (the deviation is scaled to cover 95 % of those told from the others); small
    where poses were solved all around, and more than allowed far off."""
    rng = np.random.default_rng(5)
    points, rows, length = solved(bodies, [near(rng, 0.001) for _ in range(60)])
    between = MagnetisationBetweenPoses(points, rows, length)
    there, truth, _ = solved(bodies, [near(rng, 0.001) for _ in range(30)])
    guess = between.guess(there)
    met = size(between.mixed(guess) - truth) / size(truth)
    assert np.mean(met <= guess.error) >= 0.9
    assert np.median(met) < 2e-3
    assert np.median(guess.error) < 20 * np.median(met)
    off, truth, _ = solved(bodies, [near(rng, 0.02) for _ in range(10)])
    guess = between.guess(off)
    wrong = size(between.mixed(guess) - truth) / size(truth) > 3 * FAITHFUL
    assert wrong.sum() >= 5
    assert np.all(guess.error[wrong] > FAITHFUL)


def test_errors_told_from_others_scale_what_is_expected():
    """Kinks, of which the process knows nothing: its own deviation covers a third of the errors
    there, scaled by what was met at solved poses nine of ten."""
    rng = np.random.default_rng(7)

    def kinked(u):
        x, y = u.T
        return np.stack([abs(x), abs(x - 0.3), y, 2 + x, abs(y), np.ones(len(u))], axis=1)

    points, there = rng.uniform(-1, 1, (80, 2)), rng.uniform(-0.9, 0.9, (200, 2))
    between = MagnetisationBetweenPoses(points, kinked(points), 2.0)
    guess = between.guess(there)
    met = size(between.mixed(guess) - kinked(there)) / size(kinked(there))
    assert np.mean(met <= guess.error) >= 0.9
    assert np.median(guess.error / met) < 10


def test_a_few_poses_say_nothing():
    rng = np.random.default_rng(6)
    few = MagnetisationBetweenPoses(
        rng.normal(size=(FEWEST - 1, 4)), rng.normal(size=(FEWEST - 1, 6)), 1.0
    )
    assert np.all(np.isinf(few.guess(rng.normal(size=(3, 4))).error))


def frame_errors(bodies, run):
    """Errors of all frames' magnetisation, as shares of themselves."""
    poses = [Pose(p, q) for p, q in zip(run.position, run.quaternion, strict=True)]
    _, truth, _ = solved(bodies, poses)
    shown = run.magnetisation["ring"].reshape(len(truth), -1)
    return size(shown - truth) / size(truth)


def test_frames_show_the_magnetisation_of_their_pose(bodies, snap):
    """Every frame of a snap and its rattle solved anew: errors are below what is allowed, though
    most frames were not solved, and what the run says of the worst is no understatement by more
    than two."""
    run = release(snap)
    errors = frame_errors(bodies, run)
    assert np.all(errors < FAITHFUL)
    told = run.accuracy["interpolated_magnetisation_error_worst"]
    assert errors.max() < 2 * told
    assert told <= FAITHFUL
    assert len(run.time) > 3 * run.accuracy["interpolation_checks"]


def test_doubtful_frames_are_solved(bodies, snap, monkeypatch):
    """Allowed no more than what solves err by, every frame comes out as solved."""
    usual = release(snap)
    monkeypatch.setattr(run_log, "FAITHFUL", 1e-9)
    strict = release(snap)
    assert strict.cost.field_evaluations > usual.cost.field_evaluations + 20
    # the solves' own: a few times the root of 1e-8, as the energy is flat in M
    assert np.all(frame_errors(bodies, strict) < 5e-4)


def test_frames_are_checked_now_and_then(snap):
    """No longer stretch of frames is left unchecked than `PATIENT`."""
    run = release(snap)
    assert run.accuracy["interpolation_checks"] >= len(run.time) // (2 * PATIENT)
    unseen = release(snap, frames=False, magnetisation=False)
    assert unseen.magnetisation == {}
    assert unseen.cost.field_evaluations < run.cost.field_evaluations
    assert unseen.impacts[0].kinetic_energy == pytest.approx(
        run.impacts[0].kinetic_energy, rel=1e-5
    )


def test_solutions_take_no_more_than_their_room(bodies, snap, monkeypatch):
    """Room for forty: half as many and more are kept, and frames are as faithful."""
    kept = []

    class Watched(list):
        def __len__(self):
            kept.append(super().__len__())
            return kept[-1]

    made = MagneticLoads.__init__

    def watched(self, *given, **named):
        made(self, *given, **named)
        self.solutions = Watched()

    cells = len(MagneticModel(bodies, "draft").cells[1].volume)
    monkeypatch.setattr(MagneticLoads, "ROOM", 40 * 24 * cells)
    monkeypatch.setattr(MagneticLoads, "__init__", watched)
    run = release(snap)
    assert max(kept) == 41
    assert np.all(frame_errors(bodies, run) < FAITHFUL)


def test_the_middle_of_each_stretch():
    assert middles([3, 4, 5, 9, 11, 12]) == [4, 9, 12]


class Told:
    """Loads that know every pose, and are told which solved ones are surprises."""

    def __init__(self, surprises):
        self.outcomes, self.surprises, self.solved_at, self.asked = iter(surprises), 0, [], 0

    def of(self, _stage):
        return self

    def glance(self, _pose):
        self.asked += 1
        return PoseEnergy(0.0, np.zeros((1, 3)), np.zeros((1, 3)))

    def state(self, _pose):
        self.solved_at.append(self.asked)
        self.surprises += next(self.outcomes)
        return MagneticState(0.0, np.zeros((1, 3)), np.zeros((1, 3)), (), 0.0, 0, True)


def test_checks_grow_rare_while_nothing_is_new_and_frequent_again_when_something_is(monkeypatch):
    loads = Told([0, 0, 0, 1, 0, 0])
    monkeypatch.setattr(RunLog, "_magnet_gap", lambda *_: 0.0)
    log = RunLog(None, None, loads, None, lambda: None, 0.0, True, True)
    still = State(Pose(np.zeros((1, 3)), np.zeros((1, 4))), np.zeros((1, 3)), np.zeros((1, 3)))
    while len(loads.solved_at) < 6:
        log.take(Frame(0.0, still, Tally(), False))
    first, most = CHECKED, PATIENT
    expected = [first, 2 * first, most, most, first, 2 * first]
    assert np.diff([0, *loads.solved_at]).tolist() == expected
