"""A run that its own books or an independent look at its frames do not bear out says so."""

from dataclasses import replace

import numpy as np
import pytest
from random_scenes import WOOD, _shape

from snapsim.mechanics.books import Books
from snapsim.mechanics.contact import ContactGeometry
from snapsim.mechanics.ending import EndReason, Unsolved, ended
from snapsim.mechanics.impact import resolve_impact
from snapsim.mechanics.joints import STILL, WORLD, Side, hinge, slide
from snapsim.mechanics.phases import press, strike
from snapsim.mechanics.simultaneous_blows import MOST_STEPS
from snapsim.mechanics.sustained_contact import contact_step
from snapsim.numerics import rotations
from snapsim.parts.bodies import Body
from snapsim.parts.shapes import Box, Cylinder, Ring
from snapsim.parts.states import Pose, State
from snapsim.parts.surfaces import SurfacePair, SurfaceRules
from snapsim.run import release as release_module
from snapsim.run.release import release
from snapsim.run.steps import STEPS
from snapsim.simulation.overlap_depth import deepest_overlap
from snapsim.simulation.system import System
from snapsim.study.outcome import outcome_of
from snapsim.words.endings import warning

GRAVITY = np.array([0.0, 0.0, -9.80665])


def two(one, other, place):
    """Two bodies, the second at `place`, as bodies and poses of one frame."""
    bodies = [Body("a", one, WOOD, None, False), Body("b", other, WOOD, None, False)]
    position = np.array([[(0.0, 0.0, 0.0), place]])
    return bodies, position, np.tile(rotations.IDENTITY, (1, 2, 1))


@pytest.mark.parametrize(
    ("one", "other", "place", "depth"),
    [
        (Box((0.02, 0.02, 0.02)), Box((0.01, 0.01, 0.01)), (0, 0, 0.015 - 4e-6), 4e-6),
        (Box((0.02, 0.02, 0.02)), Box((0.01, 0.01, 0.01)), (0, 0, 0.015 + 1e-9), 0.0),
        (Box((0.05, 0.01, 0.02)), Box((0.01, 0.05, 0.02)), (0, 0, 0.02 - 4e-6), 4e-6),
        (Cylinder(0.02, 0.01), Box((0.05, 0.05, 0.01)), (0, 0, 0.01 - 2e-5), 2e-5),
        (Ring(0.03, 0.02, 0.01), Cylinder(0.01999, 0.05), (0, 0, 0), 0.0),
        (Ring(0.03, 0.02, 0.01), Cylinder(0.01999, 0.05), (1e-4, 0, 0), 9.5e-5),
    ],
)  # fmt: skip
def test_depths_worked_out_by_hand(one, other, place, depth):
    """Crossed bars meet by edges alone; a peg has 5 micrometres of air in its ring all round."""
    found, _ = deepest_overlap(*two(one, other, place))
    assert depth == pytest.approx(found, rel=1e-6, abs=1e-12)


def test_overlaps_are_seen_and_none_is_made_up():
    """Against the contact search, on random pairs set to a known gap along a random line."""
    rng = np.random.default_rng(3)
    seen = []
    for number in range(80):
        bodies = [Body(n, _shape(rng), WOOD, None, False) for n in "ab"]
        geometry = ContactGeometry(bodies, SurfaceRules())
        turns = np.array([rotations.normalise(rng.normal(size=4)) for _ in "ab"])
        line, wanted = rng.normal(size=3), (-1e-4, 1e-7)[number % 2]
        line, low, high = line / np.linalg.norm(line), 0.0, 0.2
        for _ in range(50):
            middle = 0.5 * (low + high)
            gap = geometry.gaps(Pose(np.array([0 * line, middle * line]), turns))[0]
            low, high = (middle, high) if gap < wanted else (low, middle)
        position = np.array([[0 * line, high * line]])
        depth, _ = deepest_overlap(bodies, position, turns[None])
        if wanted > 0:
            assert depth == 0.0
        else:
            assert depth <= 1.0001e-4
            seen.append(depth)
    assert np.mean(np.array(seen) > 0.4e-4) > 0.9


def dropped(**changes):
    """A box a little above a table."""
    bodies = (
        Body("table", Box((0.4, 0.4, 0.02)), WOOD, None, True),
        Body("box", Box((0.02, 0.02, 0.02)), WOOD, None, False),
    )
    pose = Pose(np.array([(0, 0, -0.01), (0, 0, 0.02)]), np.tile(rotations.IDENTITY, (2, 1)))
    start = State(pose, np.zeros((2, 3)), np.zeros((2, 3)))
    rules = SurfaceRules(SurfacePair(0.3, 0.2), {})
    return System("a drop", "", bodies, start, rules, GRAVITY, 0.12, "draft", **changes)


def test_a_body_let_through_the_table_makes_the_run_untrusted(monkeypatch):
    """Contacts that are not found leave nothing to see but by the measure that is not theirs."""

    class Blind(ContactGeometry):
        def gaps(self, pose, chosen=slice(None)):
            return np.ones(len(self.pairs[chosen]))

        def touches(self, pose):
            return False

    monkeypatch.setattr("snapsim.run.release.ContactGeometry", Blind)
    run = release(dropped())
    assert (run.outcome, run.reason) == ("untrusted", EndReason.OVERLAP)
    assert run.audit.deepest_overlap > 1e-3
    assert "UNTRUSTED" in warning(run.ending)
    found = outcome_of(run)
    assert found["status"] == "untrusted"
    assert found["flags"]["snap"] is None


def test_energy_from_nowhere_makes_the_run_untrusted(monkeypatch):
    """A blow that books too much loss by a hundredth of the energy."""
    book = Books.blow

    def cooked(self, before, driven, after):
        book(self, before, driven, after)
        self.tally = replace(self.tally, impact_loss=1.03 * self.tally.impact_loss)

    monkeypatch.setattr(Books, "blow", cooked)
    run = release(dropped())
    assert (run.outcome, run.reason) == ("untrusted", EndReason.UNACCOUNTED)


def test_a_sound_run_is_trusted_and_says_what_correction_took():
    run = release(dropped())
    assert run.outcome in ("moving", "settled")
    assert run.audit.deepest_overlap < 1e-6
    assert run.audit.correction_taken >= 0
    assert warning(run.ending) is None


def test_a_motion_that_gains_no_time_is_stopped(monkeypatch):
    def stands(now, problem, books):
        yield from ()
        return now

    monkeypatch.setattr("snapsim.mechanics.motion.fly", stands)
    run = release(dropped())
    assert run.ending == ended(EndReason.NO_PROGRESS, 500)


UNHEEDED = {"settings": replace(STEPS, limit=400), "estimates": False}


def untrusted(system, what, limit=400):
    """Release a system, and look whether it is untrusted for what its steps were taken without."""
    run = release(system, settings=replace(STEPS, limit=limit), estimates=False)
    assert (run.outcome, run.reason) == ("untrusted", EndReason.UNSOLVED)
    assert str(what) in run.accuracy["unsolved_code"]
    assert run.ending.figure == run.accuracy["unsolved_steps"] > 0
    assert "UNTRUSTED" in warning(run.ending)
    assert outcome_of(run)["status"] == "untrusted"


def test_steps_whose_contacts_break_their_laws_make_the_run_untrusted(monkeypatch):
    """However short they are made."""

    def wrong(*given):
        return replace(contact_step(*given), residual=2 * STEPS.landing)

    monkeypatch.setattr(press, "contact_step", wrong)
    untrusted(dropped(), Unsolved.CONTACT)


def test_steps_that_never_fit_make_the_run_untrusted(monkeypatch):
    monkeypatch.setattr(press, "_cheaper_time", lambda problem, trial: 0.999 * trial.dt)
    untrusted(dropped(), Unsolved.LENGTH)


def test_a_blow_that_is_not_followed_to_its_end_makes_the_run_untrusted(monkeypatch):
    def broken_off(*given, **ways):
        return replace(resolve_impact(*given, **ways), steps=MOST_STEPS)

    monkeypatch.setattr(strike, "resolve_impact", broken_off)
    untrusted(dropped(), Unsolved.BLOW)


class SuddenBrake:
    """Takes hold of the second body, all at once, where it has slid 20 micrometres."""

    time = np.array([1e-9])
    rate = 1.6e7
    """Of stopping [1/s]: steps of 0.1 microseconds still need some eighty turns."""

    def __init__(self, mass):
        self.size = (mass * self.rate / self.time[0]) ** 0.5

    def grips(self, pose):
        grip = np.zeros((1, 12))
        grip[0, 6] = self.size if pose.position[1, 0] > 2e-5 else 0.0
        return grip

    def quickness(self, state):
        return 1.0


def test_a_brake_and_a_motion_that_do_not_agree_make_the_run_untrusted(monkeypatch):
    """The bound on the step by which turns find each other is taken away."""
    system = dropped()
    start = system.start
    pose = replace(start.pose, position=np.array([(0, 0, -0.01), (0, 0, 0.01)]))
    start = replace(start, pose=pose, velocity=np.array([(0, 0, 0), (0.02, 0, 0)]))
    brake = SuddenBrake(system.bodies[1].mass)
    motion_problem = release_module.motion_problem
    monkeypatch.setattr(
        release_module,
        "motion_problem",
        lambda *given: replace(motion_problem(*given), brake=brake),
    )
    monkeypatch.setattr(press, "BRAKED", 1e12)
    untrusted(replace(system, start=start), Unsolved.BRAKE)


def test_a_blow_that_comes_to_no_end_is_followed_again_in_longer_steps(monkeypatch):
    tried = []

    def stuck_at_first(*given, fineness, **ways):
        tried.append(fineness)
        found = resolve_impact(*given, fineness=fineness, **ways)
        return found if fineness > STEPS.blow_step else replace(found, steps=MOST_STEPS)

    monkeypatch.setattr(strike, "resolve_impact", stuck_at_first)
    run = release(dropped())
    assert run.outcome in ("moving", "settled")
    assert run.accuracy["unsolved_steps"] == 0
    assert max(tried) == 4 * min(tried)


def side(state, number):
    q = state.pose.quaternion[number]
    return Side(state.pose.position[number], q, rotations.matrix(q), np.zeros(3), np.zeros(3))


def jointed(rows, joints_of, duration, speed=0.0):
    """Bodies from rows (body, position, quaternion), the free ones moving along x, and joints."""
    bodies, position, turn = zip(*rows, strict=True)
    velocity = np.zeros((len(rows), 3))
    velocity[[i for i, b in enumerate(bodies) if not b.fixed], 0] = speed
    start = State(Pose(np.array(position), np.array(turn)), velocity, np.zeros((len(rows), 3)))
    rules = SurfaceRules(SurfacePair(0.3, 0.2), {})
    given = "joints", "", bodies, start, rules, GRAVITY, duration, "draft"
    return System(*given, joints=tuple(joints_of(start)))


def rod_on_a_rail(friction, duration, *others):
    """A carriage of 0.7 g that slides at 1 m/s on a rail and drags a rod of 14 g on a pin.

    The rod leans by atan 2 so that friction on the carriage presses it on its rail: 1 N by 0.7 N
    more at first. Above friction 1.4 it presses by more than it takes, and nothing short of a
    shock obeys Coulomb's law: Painleve's rod on a rail.
    """
    lean = np.arctan(2.0)
    along, turn = np.array([np.sin(lean), 0, -np.cos(lean)]), np.array([0.0, -1.0, 0.0])
    beside = np.array([0, 0.012, 0])
    rows = [
        (Body("carriage", Box((0.01, 0.01, 0.01)), WOOD, None, False), np.zeros(3),
         rotations.IDENTITY),
        (Body("rod", Box((0.01, 0.01, 0.2)), WOOD, None, False), 0.1 * along + beside,
         rotations.from_axis_angle(turn, lean)),
        *others,
    ]  # fmt: skip

    def joints(start):
        on, free = np.array([1.0, 0, 0]), np.array([0, 1.0, 0])
        points = np.array([[0, -0.012, 0.1], [0, 0, 0]])
        rail = slide(
            "rail", (0, WORLD), np.zeros((2, 3)), on, side(start, 0), STILL, friction=friction
        )
        return rail, hinge("pin", (1, 0), points, free, side(start, 1), side(start, 0))

    return jointed(rows, joints, duration, -1.0)


RESTING = (
    (Body("table", Box((0.1, 0.1, 0.02)), WOOD, None, True), (0, 0.5, -0.01), rotations.IDENTITY),
    (Body("brick", Box((0.02, 0.02, 0.02)), WOOD, None, False), (0, 0.5, 0.01), rotations.IDENTITY),
)
"""A table and what lies on it, beside a rail: all moves in steps of contact."""


def test_a_bearing_that_jams_in_flight_makes_the_run_untrusted():
    untrusted(rod_on_a_rail(2.0, 0.06), Unsolved.BEARING)


def test_a_bearing_that_jams_in_steps_of_contact_makes_the_run_untrusted():
    untrusted(rod_on_a_rail(2.0, 0.06, *RESTING), Unsolved.BEARING, limit=60)


def test_a_bearing_that_rubs_hard_is_solved_in_steps_of_contact_as_in_flight():
    """Friction 1: each turn leaves up to 0.7 of what friction and reaction disagree by; with the
    eight turns of before 2981 of 3000 steps disagreed."""
    ends = []
    for others in ((), RESTING):
        run = release(rod_on_a_rail(1.0, 0.04, *others), **UNHEEDED)
        assert run.outcome == "moving"
        assert run.accuracy["unsolved_steps"] == 0
        ends.append(run.position[-1, :2])
    assert ends[1] == pytest.approx(ends[0], abs=2e-5)  # steps of contact are of second order


@pytest.mark.parametrize(("apart", "fits"), [(0.1, True), (0.1001, False)])
def test_a_rod_on_two_pins_that_it_does_not_fit_makes_the_run_untrusted(apart, fits):
    rod = Body("rod", Box((0.1, 0.01, 0.01)), WOOD, None, False)

    def pins(start):
        for name, x in (("left", -0.5), ("right", 0.5)):
            points = np.array([[0.1 * x, 0, 0], [apart * x, 0, 0]])
            yield hinge(name, (0, WORLD), points, np.array([0, 1.0, 0]), side(start, 0), STILL)

    system = jointed([(rod, np.zeros(3), rotations.IDENTITY)], pins, 0.05)
    if fits:
        assert release(system, **UNHEEDED).accuracy["unsolved_steps"] == 0
    else:
        untrusted(system, Unsolved.JOINT)
