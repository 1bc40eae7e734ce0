"""What the package offers: names, hints, errors in one line, the field at points, many poses."""

import inspect
import typing

import numpy as np
import pytest

import snapsim


@pytest.fixture(scope="module")
def blank():
    """The gear blank's scene at draft cells."""
    return snapsim.example("gear-blank", ['run.detail="draft"'])


@pytest.mark.parametrize(
    ("make", "says"),
    [
        (lambda s: snapsim.plot(3), "what has"),
        (lambda s: snapsim.view(3), "neither a scene nor a run"),
        (lambda s: snapsim.field(s, [1.0, 2.0]), "rows of 3"),
        (lambda s: snapsim.forces(s, "blnk", [0, 0, 0]), 'did you mean "blank"'),
        (lambda s: snapsim.forces(s, "blank", [0, 0, 0], [0, 0, 0, 0]), "no rotation"),
        (lambda s: snapsim.force(s)["x"], "allowed: magnet, blank, table"),
    ],
)
def test_what_is_wrong_is_one_line_that_names_it(blank, make, says):
    with pytest.raises(snapsim.InputError) as raised:
        make(blank)
    assert says in str(raised.value)
    assert "\n" not in str(raised.value)


def test_nothing_private_is_offered_and_every_hint_resolves():
    names = dir(snapsim)
    assert [n for n in names if n.startswith("_")] == ["__version__"]
    assert set(snapsim.__all__) <= set(names)
    functions = [getattr(snapsim, n) for n in snapsim.__all__]
    hinted = [f for f in functions if inspect.isfunction(f)]
    assert len(hinted) > 30
    for function in hinted:
        assert "return" in typing.get_type_hints(function)


def test_many_poses_at_once_are_each_pose_apart(blank):
    scene = blank
    at = scene.start.pose.position[1] + [[0, 0, 0], [0, 0, 0.01]]
    turn = scene.start.pose.quaternion[1]
    series = snapsim.forces(scene, "blank", at, [turn, 2 * turn])
    alone = snapsim.force(scene)["blank"].force
    # both solved to a bound of 1e-6 or better of the energy: forces to about 1e-3
    assert series.force[0, 1] == pytest.approx(alone, rel=3e-3, abs=1e-2)
    assert series.force[1, 1, 2] > alone[2]


def test_the_field_of_a_block_magnet_alone_is_its_closed_form(blank):
    magnet = blank.bodies[0]
    block = snapsim.Box("120 x 80 x 40 mm")
    still = {"magnetised": "+z", "fixed": True}
    alone = snapsim.Scene([snapsim.Body("magnet", block, "NdFeB N45", "0, 0, 0 mm", **still)])
    half, z = np.array([0.06, 0.04]), np.array([0.03, 0.05])

    def angle(d):
        return np.arctan(half.prod() / (d * np.sqrt(half @ half + d * d)))

    # on the axis of a block, two charged faces: B = J / pi (angle(z - h) - angle(z + h)), h half
    # its height (Furlani, Permanent Magnet and Electromechanical Devices, 2001, sec. 4.3; from
    # memory)
    expected = (
        magnet.material.remanence / np.pi * np.array([angle(x - 0.02) - angle(x + 0.02) for x in z])
    )
    found = snapsim.field(alone, [[0, 0, x] for x in z])
    assert found[:, 2] == pytest.approx(expected, rel=1e-9)
