"""Pull-off force and tipping torque against statics on paper."""

import numpy as np
import pytest

from snapsim.landscape.constraints import Constraints
from snapsim.landscape.force import force
from snapsim.landscape.place import Place
from snapsim.landscape.pull_off import pull_off
from snapsim.parts.shapes import Box
from snapsim.parts.surfaces import SurfacePair

G = 9.80665


@pytest.fixture
def block_on_table(make_body, make_system):
    table = make_body("table", Box((1.0, 1.0, 0.1)), fixed=True)
    block = make_body("block", Box((0.2, 0.1, 0.05)))
    rows = [(table, (0, 0, -0.05)), (block, (0, 0, 0.025))]
    return make_system(rows, pair=SurfacePair(friction=0.4))


def pulled(system, extra=(0, 0, 0)):
    body, place = system.bodies[1], Place(*(a[1] for a in _pose(system)))
    load = np.concatenate([np.array([0, 0, -body.mass * G]) + extra, np.zeros(3)])
    return pull_off(Constraints(system, 1), place, load), body.mass * G


def _pose(system):
    return system.start.pose.position, system.start.pose.quaternion


def test_a_lying_block_takes_its_weight_to_lift_and_half_its_width_times_that_to_tip(
    block_on_table,
):
    """Statics: N = 0 at f = m g; tipping about an edge at m g b/2, the shorter side b the weaker
    (Meriam & Kraige, Engineering Mechanics: Statics, chapter 3; from memory). Exact linear
    programme, so rounding."""
    found, weight = pulled(block_on_table)
    assert found.force == pytest.approx(weight, rel=1e-9)
    assert found.direction == pytest.approx([0, 0, 1])
    assert found.torque == pytest.approx(weight * 0.05, rel=1e-9)
    assert abs(found.axis[0]) == pytest.approx(1)
    assert found.against == ("table",)


def test_a_load_beyond_friction_is_no_rest(block_on_table):
    """Coulomb: it slides from mu m g on; eight edges of the cone are exact along x."""
    _, weight = pulled(block_on_table)
    assert pulled(block_on_table, (0.39 * weight, 0, 0))[0] is not None
    assert pulled(block_on_table, (0.41 * weight, 0, 0))[0] is None


def test_what_floats_has_nothing_to_be_pulled_off(make_body, make_system):
    block, other = make_body("block", Box((0.1, 0.1, 0.1))), make_body("o", Box((0.1, 0.1, 0.1)))
    system = make_system([(other, (0, 0, 0)), (block, (0, 0, 0.2))])
    assert pulled(system)[0] is None


def test_a_blank_flat_on_a_pole_holds_by_the_magnets_pull_less_its_weight(
    make_body, make_system, materials
):
    """At rest on the face the pull-off force along its normal is F_z less the weight, by symmetry
    exactly; the report carries it."""
    magnet = make_body("magnet", Box((0.1, 0.1, 0.04)), materials["magnet"], (0, 0, -1), fixed=True)
    part = make_body("part", Box((0.04, 0.04, 0.01)), materials["iron"](300.0, 1.6))
    system = make_system([(magnet, (0, 0, 0.02)), (part, (0, 0, -0.005))], detail=120)
    report = force(system)
    pull = report.pull_off[1]
    assert report.pull_off[0] is None
    assert pull.force == pytest.approx(report.force[1, 2] - part.mass * G, rel=1e-6)
    assert pull.torque == pytest.approx(pull.force * 0.02, rel=1e-6)
