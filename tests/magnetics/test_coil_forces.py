"""Forces on and by coils, against closed forms and the force on wires."""

import magpylib
import numpy as np
import pytest
from scipy.special import ellipe, ellipk

from snapsim.constants import MU_0
from snapsim.magnetics.model import MagneticModel
from snapsim.parts.bodies import Body
from snapsim.parts.materials import MATERIALS, MagnetisationCurve, Material
from snapsim.parts.shapes import Cylinder, OpenFrame, Ring, Sphere
from snapsim.parts.states import Pose
from snapsim.parts.windings import Coil, winding_of

COPPER, MAGNET = MATERIALS["copper winding"], MATERIALS["NdFeB N45"]
ROUND, SMALL = Ring(0.08, 0.04, 0.03), Ring(0.05, 0.03, 0.02)


def coil(shape, ampere_turns, name="coil"):
    return Body(name, shape, COPPER, None, True, coil=Coil(ampere_turns, np.zeros(1), np.ones(1)))


def poses(*rows):
    """Places (n, 3) [m], each with a turn about y [rad]."""
    at = np.array([row[:3] for row in rows], dtype=float)
    half = np.array([row[3] if len(row) > 3 else 0.0 for row in rows]) / 2
    zero = np.zeros(len(rows))
    return Pose(at, np.column_stack([np.cos(half), zero, np.sin(half), zero]))


def section(shape, order):
    """Radius, height and share of Gauss points over a round coil's cross-section."""
    w = winding_of(shape)
    u, weights = np.polynomial.legendre.leggauss(order)
    r, z = np.meshgrid(w.inner[0] + w.width * (u + 1) / 2, w.half_length * u)
    return r.ravel(), z.ravel(), np.outer(weights, weights).ravel() / 4


@pytest.mark.parametrize("apart", [0.026, 0.03, 0.05, 0.12])
def test_pull_between_coaxial_coils(apart):
    """F = I I' dM/dz, M = mu0 sqrt(a b) [(2/k - k) K - (2/k) E], k^2 = 4 a b/((a + b)^2 + z^2), of
    each two loops (Maxwell, Treatise, 3rd ed., sections 701 and 704; from memory), over both
    cross-sections. The nearest pair is 1 mm apart, where the rule errs by 3e-4."""
    model = MagneticModel([coil(ROUND, 3000.0), coil(SMALL, 800.0, "other")])
    state = model.evaluate(poses((0, 0, 0), (0, 0, apart)))
    (a, z1, w1), (b, z2, w2) = section(ROUND, 32), section(SMALL, 32)
    a, z1, w1 = a[:, None], z1[:, None], w1[:, None]
    z = apart + z2 - z1
    m = 4 * a * b / ((a + b) ** 2 + z**2)
    # dM/dz of two loops, from the field of one: the same section
    slope = -MU_0 * z * np.sqrt(m) / (4 * np.sqrt(a * b))
    slope = slope * ((2 - m) / (1 - m) * ellipe(m) - 2 * ellipk(m))
    expected = 3000.0 * 800.0 * float((w1 * w2 * slope).sum())
    assert expected < 0  # like currents attract
    assert state.force[1, 2] == pytest.approx(expected, rel=5e-4 if apart < 0.03 else 1e-4)
    assert state.force[0] == pytest.approx(-state.force[1])


def test_a_coil_in_the_bore_of_another():
    """Half way in, the field is that of the one whose bore it is: as pulled as by wires."""
    inner = Ring(0.036, 0.02, 0.03)
    model = MagneticModel([coil(inner, 500.0, "inner"), coil(ROUND, 3000.0)])
    state = model.evaluate(poses((0, 0, 0.02), (0, 0, 0)))
    (a, z1, w1), (b, z2, w2) = section(ROUND, 24), section(inner, 24)
    a, z1, w1 = a[:, None], z1[:, None], w1[:, None]
    z = 0.02 + z2 - z1
    m = 4 * a * b / ((a + b) ** 2 + z**2)
    slope = -MU_0 * z * np.sqrt(m) / (4 * np.sqrt(a * b))
    slope = slope * ((2 - m) / (1 - m) * ellipe(m) - 2 * ellipk(m))
    expected = 500.0 * 3000.0 * float((w1 * w2 * slope).sum())
    assert state.force[0, 2] == pytest.approx(expected, rel=1e-3)


def wires_in(magnet, shape, order=6, pieces=90):
    """Force (3,) and torque (3,) on 1 A-turn of a round coil at the origin: I dl x B of magpylib
    6.3's magnet on wires."""
    force, torque = np.zeros(3), np.zeros(3)
    turn = 2 * np.pi * (np.arange(pieces) + 0.5) / pieces
    for r, z, share in zip(*section(shape, order), strict=True):
        at = np.column_stack([r * np.cos(turn), r * np.sin(turn), np.full(pieces, z)])
        along = np.column_stack([-np.sin(turn), np.cos(turn), 0 * turn]) * (2 * np.pi * r / pieces)
        pull = share * np.cross(along, magnet.getB(at))
        force += pull.sum(axis=0)
        torque += np.cross(at, pull).sum(axis=0)
    return force, torque


@pytest.mark.parametrize(
    ("place", "angle"),
    [((0.0, 0.0, 0.02), 0.0), ((0.003, 0.002, 0.005), 0.1), ((0.02, 0.0, 0.04), 0.7)],
    ids=["half in the bore", "in the bore", "over it, tilted"],
)
def test_magnet_and_coil(place, angle):
    """The magnet drives the wires as they drive it: the two sides by two libraries."""
    rod = Cylinder(0.016, 0.03)
    body = Body("rod", rod, MAGNET, np.array([0.0, 0.0, 1.0]), False)
    model = MagneticModel([coil(ROUND, 2000.0), body])
    state = model.evaluate(poses((0, 0, 0), (*place, angle)))
    magnet = magpylib.magnet.Cylinder(
        dimension=(rod.diameter, rod.length), polarization=(0, 0, MAGNET.remanence)
    )
    magnet.rotate_from_angax(np.degrees(angle), "y")
    magnet.position = place
    force, torque = wires_in(magnet, ROUND)
    size = 2000.0 * np.linalg.norm(force)
    assert state.force[0] == pytest.approx(2000.0 * force, abs=3e-4 * size)
    assert state.torque[0] == pytest.approx(2000.0 * torque, abs=3e-4 * 0.05 * size)


@pytest.mark.parametrize("shape", [ROUND, OpenFrame((0.05, 0.03), 0.012, 0.02)])
def test_force_is_the_slope_of_the_energy(shape):
    """Of a magnet and of a coil beside a coil, turned; 1e-6 m and rad of difference."""
    body = Body("rod", Cylinder(0.02, 0.02), MAGNET, np.array([0.6, 0.0, 0.8]), False)
    for second in (body, coil(Ring(0.03, 0.02, 0.01), 900.0, "other")):
        model = MagneticModel([coil(shape, 2000.0), second])
        state = model.evaluate(poses((0, 0, 0), (0.01, 0.005, 0.045, 0.4)))
        step = 1e-6
        for axis in range(3):
            ends = []
            for sign in (1, -1):
                at = np.array([0.01, 0.005, 0.045])
                at[axis] += sign * step
                ends.append(model.evaluate(poses((0, 0, 0), (*at, 0.4))).energy)
            slope = -(ends[0] - ends[1]) / (2 * step)
            size = np.linalg.norm(state.force[1])
            assert state.force[1, axis] == pytest.approx(slope, abs=2e-6 * size)
        ends = [model.evaluate(poses((0, 0, 0), (0.01, 0.005, 0.045, 0.4 + t))).energy
                for t in (step, -step)]  # fmt: skip
        slope = -(ends[0] - ends[1]) / (2 * step)
        assert state.torque[1, 1] == pytest.approx(slope, rel=1e-5)


def test_ball_of_iron_in_a_coils_field():
    """F = V 3 chi/(3 + chi)/(2 mu0) grad B^2 of a small ball (Jackson, 3rd ed., section 5.11, for
    its moment; from memory); on the axis, by the closed form of the field there. Tolerance: the
    draft cells of a ball, 1e-3, and its size over the distance squared."""
    iron = Material("iron", 7870.0, MagnetisationCurve(1000.0))
    ball = Sphere(0.004)
    model = MagneticModel([coil(ROUND, 3000.0), Body("ball", ball, iron, None, False)], "draft")
    a, b, h, j = 0.02, 0.04, 0.015, 3000.0 / (0.02 * 0.03)

    def on_axis(z):
        def end(s):
            return s * np.log((b + np.hypot(s, b)) / (a + np.hypot(s, a)))

        return MU_0 * j / 2 * (end(z + h) - end(z - h))

    z, step = 0.045, 1e-5
    slope = (on_axis(z + step) ** 2 - on_axis(z - step) ** 2) / (2 * step)
    expected = ball.volume * 3 * 1000 / 1003 / (2 * MU_0) * slope
    force = model.evaluate(poses((0, 0, 0), (0, 0, z))).force
    assert force[1, 2] == pytest.approx(expected, rel=5e-3)


def test_iron_in_the_bore_feels_the_whole_field():
    """In the middle of a long coil H of the magnet that it is like would be nearly nothing; a
    slender rod there is magnetised by N I/L (long solenoid: Jackson, 3rd ed., section 5.3, from
    memory; ends lower it by 1 - cos, its own poles by its factor)."""
    tube = Ring(0.03, 0.02, 0.4)
    iron = Material("iron", 7870.0, MagnetisationCurve(0.5))  # own poles hardly matter
    rod = Body("rod", Cylinder(0.004, 0.04), iron, None, False)
    model = MagneticModel([coil(tube, 4000.0), rod], "draft")
    state = model.evaluate(poses((0, 0, 0), (0, 0, 0)))
    volume = model.cells[1].volume
    mean = volume @ state.magnetisation[0][:, 2] / volume.sum()
    assert mean == pytest.approx(0.5 * 4000.0 / 0.4, rel=0.03)
