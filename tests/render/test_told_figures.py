"""Every figure in the picture is the run's own number: notes, bars, curve, vectors, gap, hands."""

import dataclasses

import numpy as np
import pytest
import pyvista as pv

from snapsim.mechanics.contact import ContactGeometry
from snapsim.parts.states import Pose
from snapsim.parts.surfaces import SurfacePair, SurfaceRules
from snapsim.render.cards import unbroken
from snapsim.render.interpolation import sample
from snapsim.render.layers.gap import GapLine, nearest_points
from snapsim.render.layers.hands import HandMarks
from snapsim.render.layers.section import facing, half_of
from snapsim.render.layers.vectors import QUANTITIES, Vector, arrow, largest, stretched
from snapsim.render.lettering import wrapped
from snapsim.render.panels import EnergyBars, SpeedPlot
from snapsim.simulation.hands import hand_gaps
from snapsim.simulation.system import Hand

BOX = (0, 0, 290, 156)


class Plotter:
    """Stands for the window: keeps what it is given."""

    def add_mesh(self, mesh, **_):
        return pv.Actor()


@pytest.fixture(scope="module")
def pulled(trajectory):
    """The made-up run with a force and torque that grow, and energies that balance."""
    k = len(trajectory.time)
    force, torque = np.zeros((k, 3, 3)), np.zeros((k, 3, 3))
    force[:, 1, 2] = np.linspace(2.0, 1500.0, k)
    torque[:, 1, 1] = np.linspace(0.004, 3.0, k)
    kinetic = trajectory.energy["kinetic"]
    gravity = 11.0 * (trajectory.position[:, 1, 2] - trajectory.position[0, 1, 2])
    lost = np.linspace(0, 2.0, k)
    energy = {"kinetic": kinetic, "gravity": gravity, "dissipated": lost}
    energy["magnetic"] = -5.0 - (kinetic + gravity + lost)
    return dataclasses.replace(trajectory, force=force, torque=torque, energy=energy)


@pytest.mark.parametrize("k", [0, 30, 90, 150])
def test_bars_show_the_run_s_energies_since_release_and_they_balance(pulled, k):
    bars = EnergyBars(pulled.energy, BOX, 1.0)
    field, motion, lifted, lost = bars.values(sample(pulled, pulled.time[k]))
    e = pulled.energy
    j = np.flatnonzero(pulled.time == pulled.time[k])[-1]
    assert motion == pytest.approx(e["kinetic"][j] - e["kinetic"][0])
    assert field == pytest.approx(e["magnetic"][0] - e["magnetic"][j])
    assert field == pytest.approx(motion + lifted + lost)


def test_the_curve_s_dot_is_at_the_run_s_speed(pulled):
    speed = np.linalg.norm(pulled.velocity[:, 1], axis=1)
    plot = SpeedPlot(pulled, speed, BOX, 1.0, 1, None)
    x0, y0, x1, _ = plot._frame
    top = int(np.argmax(speed))
    (x, y), *_ = plot._points(pulled.time[top : top + 1], speed[top : top + 1])
    assert (x - x0) / (x1 - x0) == pytest.approx(pulled.time[top] / pulled.time[-1])
    assert y == pytest.approx(y0)
    assert min(p[1] for p in plot._curve) == pytest.approx(y0)  # thinning keeps the peak


@pytest.mark.parametrize(
    ("name", "k", "said"),
    [("force", 19, "F 159 N"), ("force", 181, "F 1.50 kN"), ("torque", 181, "T 3.00 N m"),
     ("torque", 19, "T 318 mN m")],
)  # fmt: skip
def test_arrows_say_the_run_s_numbers_and_point_its_way(pulled, name, k, said):
    what = QUANTITIES[name]
    layer = Vector(Plotter(), what, pulled, 1, 2.0, largest(what, pulled, 1))
    moment = sample(pulled, pulled.time[k])
    (note,) = layer.notes(moment)
    assert note.text == said
    way = note.place - moment.position[1]
    vector = what.at(moment, 1)
    size = np.linalg.norm(vector)
    assert np.cross(way, vector) == pytest.approx(np.zeros(3), abs=1e-9)
    longest = layer.length(largest(what, pulled, 1))
    assert np.linalg.norm(way) == pytest.approx(longest * np.sqrt(size / largest(what, pulled, 1)))


def test_an_arrow_is_as_long_as_it_should_be_with_a_head_of_the_same_size():
    points, _ = arrow(1)
    for length in (0.5, 0.1):
        x = stretched(points[:, 0], length, 0.04)
        assert (x.min(), x.max()) == pytest.approx((0, length))
        assert length - x[points[:, 0] == 1].max() == pytest.approx(min(0.04, length / 2))


@pytest.mark.parametrize("k", [0, 20, 45])
def test_the_gap_line_joins_the_two_surfaces_over_the_contact_geometry_s_gap(trajectory, k):
    geometry = ContactGeometry(trajectory.system.bodies, SurfaceRules(SurfacePair()))
    pose = Pose(trajectory.position[k], trajectory.quaternion[k])
    a, b = nearest_points(geometry, trajectory.system.bodies, pose)
    gaps = dict(zip(map(tuple, geometry.pairs), geometry.gaps(pose), strict=True))
    assert np.linalg.norm(a - b) == pytest.approx(gaps[(0, 1)], rel=1e-6)
    assert max(a[2], b[2]) == pytest.approx(0.0, abs=1e-9)  # the magnet's lower face


def test_the_gap_is_told_as_the_run_has_it(trajectory):
    layer = GapLine(Plotter(), trajectory, 1.0)
    moment = sample(trajectory, 0.1)
    layer._ends = np.zeros(3), np.ones(3)
    assert layer.notes(moment)[0].text == f"gap {1e3 * moment.gap:.1f} mm"


def test_a_hand_s_mark_says_its_gap_and_when_it_is_too_small(trajectory):
    hand = Hand("finger", "magnet", np.array([0.02, 0, -0.02]), np.full(3, 1e-3), 0.025)
    run = dataclasses.replace(
        trajectory, system=dataclasses.replace(trajectory.system, hands=(hand,))
    )
    layer, (gaps,) = HandMarks(Plotter(), run, 0.2, 1.0), hand_gaps(run)
    for k in (0, 60):
        (note,) = layer.notes(sample(run, np.nextafter(run.time[k], -1)))
        gap = gaps.gap[k]
        assert note.text.startswith(f"finger: {1e3 * max(gap, 0):.0f} mm")
        assert note.text.endswith("below 25 mm") == bool(gap < 0.025)
    assert gaps.gap[0] > 0.025 > gaps.gap[60]


def test_a_section_keeps_the_half_behind_and_every_cell_s_own_number(trajectory):
    body = trajectory.system.bodies[1]
    normal = facing(trajectory.quaternion[:5, 1], np.array([0.1, 0.9, 0.2]))
    assert normal == pytest.approx([0, 1, 0])
    half, cells = half_of(body, "draft", normal)
    assert half.points[:, 1].max() == pytest.approx(0.0, abs=1e-9)
    assert half.volume == pytest.approx(body.shape.volume / 2, rel=0.01)  # cells are hexahedra
    assert len(cells) == half.n_cells


def test_on_a_card_no_number_is_parted_from_its_unit():
    said = "bar strikes magnet: 8.21 m/s where they meet, 6.37 J"
    for width in range(120, 700, 20):
        for line in wrapped(unbroken(said), width, 20):
            assert not line.endswith(("8.21", "6.37"))
    assert unbroken(said).replace("\u00a0", " ") == said
