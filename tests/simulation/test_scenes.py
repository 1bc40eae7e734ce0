"""Every scene that ships: it runs, keeps its energy, and shows the number its lesson rests on.

Run at draft detail. The numbers are this program's own (regression), each beside a bound that a
person can check; physics is judged in the other tests. Bounds of 3 %: draft cells are off by 2-4 %
(see the reference comparisons), so a better mesh may move them that far.
"""

from dataclasses import replace
from pathlib import Path

import pytest

import snapsim
from snapsim.run.braking import drifting
from snapsim.run.release import release
from snapsim.run.steps import STEPS

SCENES = Path(__file__).parents[2] / "scenarios"
DRAFT = ["run.detail=draft"]


def load(name, *changes):
    return snapsim.load_scene(SCENES / f"{name}.toml", [*DRAFT, *changes])


def run_scene(name):
    run = snapsim.release(load(name))
    assert run.audit.unaccounted_fraction < 1e-3
    assert run.audit.event_gain < 1e-9
    return run


def test_every_scene_has_a_test_here():
    here = Path(__file__).read_text()
    for scene in SCENES.glob("*.toml"):
        if "." in scene.stem:  # a study or tracking options
            continue
        assert f'"{scene.stem}"' in here, f"{scene.name} has no asserted number"


def test_gear_blank_from_50_degrees_snaps_to_the_magnet():
    run = run_scene("gear-blank")
    first = run.impacts[0]
    assert first.against == "magnet"
    # 7.57, 7.61, 7.62 J at draft, normal and fine detail
    assert first.kinetic_energy == pytest.approx(7.62, rel=0.03)
    assert run.audit.magnetic_released > first.kinetic_energy  # gravity only takes on the way up


def test_gear_blank_from_38_degrees_falls_back():
    run = run_scene("gear-blank-falls-back")
    assert run.outcome == "settled"
    assert {impact.against for impact in run.impacts} == {"table"}
    # It cannot bring more energy than its centre falls: m g (h0 - h1), the magnet pulls upward.
    drop = 0.1660 - 0.1340465
    assert run.impacts[0].kinetic_energy < 1.1628 * 9.80665 * drop
    assert run.position[-1, 1, 2] == pytest.approx(-0.166, abs=1e-5)


def test_bearing_ball_leaps_at_five_metres_a_second():
    run = run_scene("bearing-ball")
    assert run.impacts[0].against == "magnet"
    assert run.impacts[0].closing_speed == pytest.approx(4.86, rel=0.03)
    # Most of the energy comes at the end: half of it over the last 4 mm of 35 mm.
    ball = run.system.number("ball")
    arrival = run.time.searchsorted(run.impacts[0].time)
    height = run.position[: arrival + 1, ball, 2]
    kinetic = run.energy["kinetic"][: arrival + 1]
    assert kinetic[height < height.max() - 0.008].max() < 0.6 * kinetic.max()


def test_two_magnets_meet_at_eleven_metres_a_second():
    run = run_scene("two-magnets")
    first = run.impacts[0]
    assert {first.body, first.against} == {"left magnet", "right magnet"}
    assert first.closing_speed == pytest.approx(10.97, rel=0.03)
    assert first.effective_mass == pytest.approx(0.46875 / 2, rel=1e-3)  # reduced mass, head on


def test_ring_and_nut_of_equal_mass_are_pulled_unequally():
    scene = load("nut-and-ring")
    nut, ring = scene.number("nut"), scene.number("ring")
    assert scene.bodies[nut].mass == pytest.approx(scene.bodies[ring].mass, rel=1e-3)
    pull = snapsim.force(scene).force[:, 2]
    assert pull[nut] > 1.2 * pull[ring]


def test_tethered_blank_breaks_its_string_after_a_swing():
    run = run_scene("tethered-blank")
    string = run.loads["string"]
    assert string.peak_force == pytest.approx(110.0, rel=1e-6)
    assert run.loads["hand"].parted == pytest.approx(0.2, abs=1e-9)
    assert 0.2 < string.parted < run.impacts[0].time
    # At the start hand and string together bear the pull less the weight.
    weight = run.system.bodies[1].mass * 9.80665
    assert run.force[0, 1, 2] - weight == pytest.approx(91.3, rel=0.03)
    assert run.impacts[0].against == "magnet"
    assert run.audit.unaccounted_fraction < 1e-4


def test_bar_on_a_hinge_strikes_at_eight_metres_a_second():
    run = run_scene("bar-on-a-hinge")
    first = run.impacts[0]
    assert (first.body, first.against) == ("bar", "magnet")
    assert first.closing_speed == pytest.approx(8.12, rel=0.03)
    assert run.outcome == "settled"
    # A rigid pendulum turns about the pin: energy 1/2 I w^2, speed w x r where it hits.
    bar = run.system.bodies[1]
    inertia = bar.inertia[1, 1] + bar.mass * 0.1**2
    spin = run.spin[run.time.searchsorted(first.time), 1, 1]
    assert first.kinetic_energy == pytest.approx(0.5 * inertia * spin**2, rel=1e-9)
    arm = first.point - [0, first.point[1], 0.13]
    along = spin * (first.normal[0] * arm[2] - first.normal[2] * arm[0])
    assert first.closing_speed == pytest.approx(abs(along), rel=1e-5)


def test_hand_loses_the_block_outside_the_rim_of_the_pole():
    run = snapsim.release(load("dragged-along-the-pole", "run.detail=normal"))
    hand = run.loads["hand"]
    assert hand.peak_force == pytest.approx(60.0, rel=1e-6)
    block = run.system.number("block")
    where = run.position[run.time.searchsorted(hand.parted), block, 0]
    assert where == pytest.approx(0.067, abs=0.002)  # 62.5 mm at draft: too few cells at the edge
    assert run.impacts[0].against == "magnet"
    assert run.impacts[0].time - hand.parted < 0.01  # no hand follows that


def test_two_blanks_pushed_together_swing_apart():
    """Run until just after the hands let go: what follows is a swing and costs minutes."""
    scene = load("two-blanks-under-one-pole", "run.duration=0.2 s")
    run = snapsim.release(scene)
    assert run.audit.unaccounted_fraction < 1e-3
    left, right = scene.number("left blank"), scene.number("right blank")
    pushed = run.time.searchsorted(0.15)
    side = run.force[pushed, :, 0]
    # 23.57 and 23.61 N at normal and fine; cells with charges on inner faces read 20.9 at draft
    assert side[right] == pytest.approx(23.6, rel=0.03)
    assert side[left] == pytest.approx(-side[right], rel=1e-3)  # mirrored, and solved to 1e-8
    assert run.loads["right hand"].last_force == 0.0
    # Far enough apart the magnet draws both back to the middle.
    apart = run.position[:, right, 0] - run.position[:, left, 0]
    assert apart[pushed] == pytest.approx(0.016, abs=1e-6)
    assert apart[-1] > 0.05
    assert run.force[-1, right, 0] < 0


def test_work_of_the_hand_that_pushes_the_magnet_is_all_booked():
    """The hand gets the magnet going and gives up what its field takes: all energy turned over. A
    step books the hand's work by the trapezoidal rule, to 1e-5 here with every pose solved; loads
    interpolated in contact may err by 1e-4 of themselves."""
    scene = load("spanner-on-a-bench", "run.duration=0.3 s", "run.detail=draft")
    tight = replace(STEPS, tolerances=replace(STEPS.tolerances, relative=0.9e-6))
    for settings, bound in ((tight, 1e-5), (STEPS, 1e-4)):
        run = release(scene, settings=settings)
        assert run.energy["kinetic"].max() > 3e-3
        assert run.audit.unaccounted < bound * run.work["hold"].max()


def test_spanner_starts_to_slide_where_the_pull_passes_what_friction_holds():
    scene = load("spanner-on-a-bench", "run.duration=1.02 s")
    run = snapsim.release(scene)
    assert run.audit.unaccounted_fraction < 1e-3
    assert run.audit.event_gain < 1e-9
    spanner = scene.number("spanner")
    first = run.impacts[0]
    assert (first.body, first.against) == ("spanner", "magnet")
    assert first.closing_speed == pytest.approx(4.68, rel=0.03)  # 4.65 at draft, 4.68 at normal
    # Coulomb: it starts where the pull along the bench is 0.4 of the weight less the lift.
    speed = abs(run.velocity[:, spanner, 0])
    start = int((speed > 1e-5).argmax())
    pull = run.force[:, spanner]
    share = pull[:, 0] / (pull[:, 2] - scene.bodies[spanner].mass * 9.80665)
    # Frames are 5 ms apart, over which it grows by 0.02; 10 um/s are reached about 1 ms late.
    assert share[start - 1] < 0.405
    assert 0.4 < share[start] < 0.425
    assert run.gap[start] == pytest.approx(0.0966, rel=0.05)  # where draft cells put it
    assert 0.1 < first.time - run.time[start] < 0.2  # shorter than anybody's reaction


def test_guard_bears_the_block_and_the_nut_inside_reaches_the_magnet():
    run = run_scene("guard-and-crossbar")
    assert run.outcome == "settled"
    nut = next(i for i in run.impacts if i.body == "nut")
    block = next(i for i in run.impacts if i.body == "block")
    assert (nut.against, block.against) == ("magnet", "guard")
    assert nut.closing_speed == pytest.approx(6.30, rel=0.03)
    assert block.closing_speed == pytest.approx(1.09, rel=0.05)
    # Statics at rest: the bolts bear pull less weights, the crossbar what they bring it, the
    # magnet the block's pull and the weight of the nut that hangs on it.
    system = run.system
    weight = {b.name: 9.80665 * b.mass for b in system.bodies}
    pull = run.force[-1, system.number("block"), 2]
    load = {name: found.last_force for name, found in run.loads.items()}
    assert load["bolts"] == pytest.approx(pull - weight["block"] - weight["guard"], rel=1e-3)
    assert load["crossbar"] == pytest.approx(load["bolts"], rel=1e-6)
    assert load["magnet"] == pytest.approx(pull + weight["nut"], rel=1e-3)
    assert load["bolts"] == pytest.approx(23.8, rel=0.05)
    # The block is kept 40 mm from the pole: guard and air.
    top = run.position[-1, system.number("block"), 2] + 0.0125
    assert top == pytest.approx(-0.04, abs=5e-6)


def test_a_copper_pipe_lets_a_magnet_sink_at_an_even_speed():
    run = run_scene("magnet-through-a-copper-pipe")
    (drift,) = drifting(run)
    assert drift["speed_m_s"] == pytest.approx(0.0501, rel=0.05)  # 50.1 mm/s at normal
    # outside the pipe it falls freely: 40 mm from its lower end, and from the drift before it
    assert run.impacts[0].against == "table"
    assert 0.5 < run.impacts[0].closing_speed < (2 * 9.80665 * 0.05) ** 0.5
    assert run.audit.joule_heat > 0.8 * run.audit.gravity_released


def test_a_copper_plate_stops_a_magnet_that_glides_over_it():
    run = run_scene("magnet-over-a-copper-plate")
    magnet = run.system.number("magnet")
    assert run.position[-1, magnet, 0] == pytest.approx(-0.0469, abs=0.006)  # at normal
    assert abs(run.velocity[-1, magnet, 0]) < 0.01
    assert run.audit.joule_heat == pytest.approx(run.energy["kinetic"][0], rel=1e-3)
    assert run.force[:, magnet, 2].max() > 1.0  # fast, it is lifted as well


def test_an_electromagnet_lets_a_disc_fall():
    run = run_scene("disc-let-go-by-an-electromagnet")
    first, weight = run.impacts[0], 9.80665 * run.system.bodies[2].mass
    # 19.8 N at draft (1 mm between two parts of iron: said to be up to 45 % off)
    assert run.force[0, 2, 2] == pytest.approx(19.8, rel=0.06)
    assert run.force[0, 2, 2] > 10 * weight
    # 100 mm of free fall from 0.25 s on: 0.1428 s, 1.400 m/s
    drop = 0.14 - 0.01 - 0.003 - 0.027
    assert first.against == "board"
    assert first.time == pytest.approx(0.25 + (2 * drop / 9.80665) ** 0.5, abs=2e-4)
    assert first.closing_speed == pytest.approx((2 * 9.80665 * drop) ** 0.5, rel=1e-3)
    assert run.audit.supply_work > 0.1
