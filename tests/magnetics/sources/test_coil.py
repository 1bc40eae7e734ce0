"""Field of a coil against closed forms and wires, in its bore too; its gradient."""

import magpylib
import numpy as np
import pytest
from scipy.special import ellipe, ellipk

from snapsim.magnetics.sources import coil
from snapsim.magnetics.sources.contract import FieldSource
from snapsim.magnetics.sources.evaluation import COIL
from snapsim.parts.shapes import OpenFrame, Ring
from snapsim.parts.windings import winding_of

ROUND = Ring(0.08, 0.04, 0.03)
FRAME = OpenFrame((0.06, 0.03), 0.015, 0.025)
SHEET = 1e4
"""N I/L [A/m]."""


def source(shape):
    return FieldSource(COIL, coil.parameters(winding_of(shape)))


def clear_points(shape, room, count=40, seed=3):
    """Points up to a coil's size away, out of the winding by at least `room` [m], half of them
    in the bore or over it."""
    rng, w = np.random.default_rng(seed), winding_of(shape)
    found = []
    while len(found) < count:
        p = rng.uniform(-0.1, 0.1, 3) * (1.0 if len(found) % 2 else 0.25)
        inner = np.hypot(p[0], p[1]) - w.inner[0]
        if not w.is_round:
            inner = np.abs(p[:2]) - w.inner
            inner = inner.max()
        across = max(-inner, inner - w.width)
        if max(across, abs(p[2]) - w.half_length) > room:
            found.append(p)
    return np.array(found)


def by_wires(shape, points, order=12):
    """H [A/m] of Gauss points of the cross-section, each a wire: magpylib 6.3, loops and
    polylines."""
    w = winding_of(shape)
    u, weights = np.polynomial.legendre.leggauss(order)
    total = np.zeros_like(points)
    for depth, share in zip(w.width * (u + 1) / 2, weights / 2, strict=True):
        for z, part in zip(w.half_length * u, weights / 2, strict=True):
            current = SHEET * 2 * w.half_length * share * part
            a, b = w.inner[0] + depth, w.inner[1] + depth
            if w.is_round:
                wire = magpylib.current.Circle(current=current, diameter=2 * a)
            else:
                corners = [(a, b, 0), (-a, b, 0), (-a, -b, 0), (a, -b, 0), (a, b, 0)]
                wire = magpylib.current.Polyline(current=current, vertices=corners)
            wire.position = (0, 0, z)
            total += wire.getH(points)
    return total


def test_axis_of_a_thick_solenoid():
    """H = j/2 [(z + h) ln((b + R(z + h, b))/(a + R(z + h, a))) - the same of z - h], R the distance
    (Montgomery, Solenoid Magnet Design, 1969, ch. 1, from memory). Tolerance: the panels' error."""
    a, b, h = 0.02, 0.04, 0.015
    z = np.array([0.0, 0.01, 0.0149, 0.0151, 0.03, 0.1, 0.3])

    def end(s):
        return s * np.log((b + np.hypot(s, b)) / (a + np.hypot(s, a)))

    expected = SHEET / (b - a) / 2 * (end(z + h) - end(z - h))
    points = np.column_stack([0 * z, 0 * z, z])
    found = source(ROUND).field(points, [0, 0, SHEET])
    assert found[:, 2] == pytest.approx(expected, rel=2e-7)
    assert np.abs(found[:, :2]).max() < 1e-9 * SHEET


def test_a_loop():
    """A slender ring of wire against a loop in elliptic integrals (Jackson, Classical
    Electrodynamics, 3rd ed., section 5.5; from memory). Tolerance: the square of the wire's half
    width over the distance, 2e-5."""
    a, current = 0.05, 7.0
    points = clear_points(Ring(0.12, 0.08, 0.02), 0.01)
    rho, z = np.hypot(points[:, 0], points[:, 1]), points[:, 2]
    big, small = (a + rho) ** 2 + z**2, (a - rho) ** 2 + z**2
    m = 4 * a * rho / big
    hz = ellipk(m) + (a**2 - rho**2 - z**2) / small * ellipe(m)
    hr = z / rho * (-ellipk(m) + (a**2 + rho**2 + z**2) / small * ellipe(m))
    scale = current / (2 * np.pi * np.sqrt(big))
    wire = 1e-4
    found = source(Ring(2 * a + wire, 2 * a - wire, wire)).field(points, [0, 0, current / wire])
    across = (found[:, :2] * points[:, :2]).sum(axis=1) / rho
    size = np.hypot(scale * hz, scale * hr)
    assert np.all(np.abs(found[:, 2] - scale * hz) < 3e-5 * size)
    assert np.all(np.abs(across - scale * hr) < 3e-5 * size)


@pytest.mark.parametrize("shape", [ROUND, FRAME])
def test_wires(shape):
    """Half a width from the winding 12 x 12 wires err by less than 1e-8."""
    points = clear_points(shape, 0.5 * winding_of(shape).width)
    expected = by_wires(shape, points)
    found = source(shape).field(points, [0, 0, SHEET])
    error = np.linalg.norm(found - expected, axis=1) / np.linalg.norm(expected, axis=1)
    assert error.max() < 1e-6


@pytest.mark.parametrize("shape", [ROUND, FRAME])
def test_near_the_winding(shape):
    """A fiftieth of a width from it, against the same with all the panels that one may have."""
    width = winding_of(shape).width
    points = clear_points(shape, 0.02 * width, 400)
    w = winding_of(shape)
    inner = np.hypot(points[:, 0], points[:, 1]) - w.inner[0]
    if not w.is_round:
        inner = (np.abs(points[:, :2]) - w.inner).max(axis=1)
    near = np.maximum(np.maximum(-inner, inner - width), np.abs(points[:, 2]) - w.half_length)
    points = points[near < 0.3 * width]
    assert len(points) > 20
    found, slope = source(shape).field_and_gradient(points, [0, 0, SHEET])
    fine = np.zeros_like(found)
    count = 400  # sheets: magnets of magpylib 6.3, whose B is what a coil's is, everywhere
    for depth in (np.arange(count) + 0.5) / count * width:
        a, b = 2 * (w.inner[0] + depth), 2 * (w.inner[1] + depth)
        length = 2 * w.half_length
        given = {"magnetization": (0, 0, SHEET)}
        if w.is_round:
            sheet = magpylib.magnet.Cylinder(dimension=(a, length), **given)
        else:
            sheet = magpylib.magnet.Cuboid(dimension=(a, b, length), **given)
        fine += sheet.getB(points) / magpylib.mu_0 / count
    # 400 equal steps are a twentieth of a step's logarithm off, at the nearest
    error = np.linalg.norm(found - fine, axis=1) / np.linalg.norm(fine, axis=1)
    assert error.max() < 1e-4
    step, axes = 1e-6, np.eye(3)
    given = [0, 0, SHEET]
    change = [source(shape).field(points + step * e, given) for e in axes]
    change = [
        c - source(shape).field(points - step * e, given) for c, e in zip(change, axes, strict=True)
    ]
    expected = np.stack(change, axis=2) / (2 * step)
    # where the field is even its gradient is next to nothing: H over the width counts as well
    size = np.maximum(np.linalg.norm(expected, axis=(1, 2)), np.linalg.norm(found, axis=1) / width)
    error = np.linalg.norm(slope - expected, axis=(1, 2)) / size
    # a panel more or less between the two ends of a difference is 1e-7 of H over 2e-6 m
    assert np.quantile(error, 0.95) < 1e-4
    assert error.max() < 1e-2


def test_far_away_it_is_a_dipole():
    """Moment N I times the mean area; a thousand sizes off."""
    for shape in (ROUND, FRAME):
        w = winding_of(shape)
        moment = SHEET * 2 * w.half_length * w.mean_area
        z = 50.0
        found = source(shape).field([0, 0, z], [0, 0, SHEET])[0, 2]
        assert found == pytest.approx(moment / (2 * np.pi * z**3), rel=1e-5)
