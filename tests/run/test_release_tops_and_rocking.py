"""Releases against textbook results: heavy top, rocking block, a disc that spins to rest."""

import numpy as np
import pytest

from snapsim.mechanics.contact import ContactGeometry
from snapsim.mechanics.motion import Motion
from snapsim.mechanics.motion_problem import MotionProblem
from snapsim.mechanics.motion_settings import MotionSettings, Tolerances
from snapsim.mechanics.records import Frame
from snapsim.mechanics.rigid_bodies import RigidBodies
from snapsim.numerics import rotations
from snapsim.parts.shapes import Box, Cylinder
from snapsim.parts.states import Pose, State
from snapsim.parts.surfaces import SurfacePair, SurfaceRules
from snapsim.run.release import release

G = 9.80665
MASS, ARM, I1, I3, SPIN = 0.5, 0.03, 5e-4, 2e-4, 300.0
TORQUE = MASS * G * ARM


def top(tilt, precession, duration, spacing):
    """Frames of a symmetric top that feels the torque of a weight: ARM e3 x (-m g z).

    With the fixed point for its centre of mass it is Lagrange's top; a magnet in a uniform field.
    """
    inertia = np.diag([I1, I1, I3])[None]
    bodies = RigidBodies(
        np.array([MASS]), inertia, np.array([1 / MASS]), np.linalg.inv(inertia),
        np.array([True]), np.array([0.05]),
    )  # fmt: skip

    def loads(pose):
        axis = rotations.rotate(pose.quaternion, np.array([[0.0, 0.0, 1.0]]))
        return np.zeros((1, 3)), np.cross(axis, [[0.0, 0.0, -TORQUE]])

    turn = rotations.from_axis_angle([0, 1, 0], tilt)
    axis = np.array([np.sin(tilt), 0, np.cos(tilt)])
    across = precession * (np.array([0, 0, 1.0]) - np.cos(tilt) * axis)
    start = State(
        Pose(np.zeros((1, 3)), turn[None]), np.zeros((1, 3)), (SPIN * axis + across)[None]
    )
    problem = MotionProblem(
        bodies, ContactGeometry([], SurfaceRules()), SurfaceRules(), loads, np.zeros(3), start,
        duration, settings=MotionSettings(Tolerances(1e-11, 1e-13, 1e-12), frame_spacing=spacing),
    )  # fmt: skip
    return [item for item in Motion(problem).run() if isinstance(item, Frame)]


def axes(frames):
    """The top's axis (k, 3) in each frame."""
    return np.array(
        [rotations.rotate(f.state.pose.quaternion, np.array([[0, 0, 1.0]]))[0] for f in frames]
    )


@pytest.mark.parametrize("rate", [2.49664708294, 136.067417723])
def test_heavy_top_precesses_steadily_at_either_of_its_two_rates(rate):
    """Roots of I1 cos(th) W^2 - I3 w3 W + m g l = 0 at 30 degrees (Goldstein, Poole & Safko,
    Classical Mechanics, 3rd ed., section 5.7, eq. 5.74; from memory; roots computed)."""
    frames = top(np.radians(30), rate, 0.2, 1e-3)
    axis, time = axes(frames), np.array([f.time for f in frames])
    assert axis[:, 2] == pytest.approx(np.cos(np.radians(30)), abs=1e-7)
    azimuth = np.unwrap(np.arctan2(axis[:, 1], axis[:, 0]))
    assert azimuth == pytest.approx(rate * time, rel=1e-6, abs=1e-7)


def test_heavy_top_let_go_without_precession_nods_to_the_root_of_its_cubic():
    """Nutation lies between the roots of (1 - u^2)(a - b u) - (c - d u)^2 = 0, u = cos(th), with
    the constants of energy and of both angular momenta (Goldstein, section 5.7, eq. 5.62')."""
    tilt = np.radians(30)
    u0, d = np.cos(tilt), I3 * SPIN / I1
    b, c = 2 * TORQUE / I1, d * u0
    a = b * u0
    cubic = np.polyadd(np.polymul([-1, 0, 1], [-b, a]), -np.polymul([-d, c], [-d, c]))
    roots = np.sort(np.roots(cubic).real)
    lowest = max(u for u in roots if u < u0 - 1e-9)
    height = axes(top(tilt, 0.0, 0.2, 1e-4))[:, 2]
    # frames 1e-4 s apart miss the lowest point by less than (d * 1e-4)^2/8 of the swing: 2e-5
    assert height.max() == pytest.approx(u0, abs=1e-7)
    assert u0 - height.min() == pytest.approx(u0 - lowest, rel=5e-5)


@pytest.mark.parametrize(
    ("share", "period"),
    # Housner, Bull. Seismol. Soc. Am. 53, 403 (1963; from memory), B = 0.1 m, H = 0.4 m, tilt =
    # share * atan(B/H); period of the exact equation th'' = -p^2 sin(alpha - th), by integration
    [(0.25, 0.53432145), (0.5, 0.88349291), (0.75, 1.3829749)],
)
def test_rocking_block_lands_in_housners_time_and_keeps_his_share_of_its_energy(
    make_body, make_system, share, period
):
    """The share is (1 - 3/2 sin^2 alpha)^2 = 0.831314879 for an inelastic blow about the new edge.

    Time within 2e-4 of it: the block starts one touching gap above the table. Energy within 5e-5:
    it is struck when a touching gap, 3 micrometres in 0.1 m, is left."""
    tilt = share * np.arctan2(0.1, 0.4)
    turn = rotations.from_axis_angle([0, 1, 0], tilt)
    corner = rotations.rotate(turn[None], np.array([[0.05, 0, -0.2]]))[0]
    block = make_body("block", Box((0.1, 0.06, 0.4)))
    floor = make_body("floor", Box((2, 2, 0.1)), fixed=True)
    rows = [(block, -corner + [0, 0, 1e-7], turn), (floor, (0, 0, -0.05))]
    system = make_system(rows, duration=0.25 * period + 0.05, pair=SurfacePair(0.0, 2.0))
    run = release(system)
    landing = max(run.impacts, key=lambda i: i.kinetic_energy)
    assert landing.time == pytest.approx(period / 4, rel=2e-4)
    after = int(np.flatnonzero(run.time == landing.time)[-1])
    kinetic = run.energy["kinetic"]
    assert kinetic[after] / kinetic[after - 1] == pytest.approx(0.831314879, rel=5e-5)
    assert run.audit.unaccounted_fraction < 1e-4


def test_spinning_disc_lying_on_a_table_stops_when_its_rims_friction_has_taken_its_spin(
    make_body, make_system
):
    """Borne by its rim, torque mu m g R against m R^2/2: w R/(2 mu g) (collar friction of a rim;
    machine-design textbooks, from memory). Within half a contact step, 0.5 ms."""
    radius, mu, spin = 0.06, 0.25, 20.0
    disc = make_body("disc", Cylinder(2 * radius, 0.02))
    floor = make_body("floor", Box((2, 2, 0.1)), fixed=True)
    rows = [(disc, (0, 0, 0.01 + 1e-7), None, None, (0, 0, spin)), (floor, (0, 0, -0.05))]
    run = release(make_system(rows, duration=0.5, pair=SurfacePair(0.0, mu)))
    assert run.outcome == "settled"
    stop = spin * radius / (2 * mu * G)
    moving = run.time[np.abs(run.spin[:, 0, 2]) > 1e-3]
    assert stop - 6e-3 < moving[-1] <= stop + 1e-3  # frames are 5 ms apart
    slow = np.interp(0.5 * stop, run.time, run.spin[:, 0, 2])
    assert slow == pytest.approx(0.5 * spin, rel=1e-3)
    assert run.audit.friction_loss == pytest.approx(
        0.25 * disc.mass * (radius * spin) ** 2, rel=1e-4
    )
