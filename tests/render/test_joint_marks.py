"""Joints are there to be seen: where they act, as long as they last, and inside the picture."""

from dataclasses import replace

import numpy as np
import pytest

from snapsim.mechanics.joints import WORLD, Ball, Joint, String, hinge, hold, slide
from snapsim.mechanics.joints.contract import STILL, Side
from snapsim.numerics import rotations
from snapsim.parts.states import Pose
from snapsim.render import Shot, palette
from snapsim.render.camera import crop_around
from snapsim.render.job import ClipJob
from snapsim.render.joint_marks import MarkSizes, end_points
from snapsim.render.options import ClipOptions
from snapsim.render.show import Show
from snapsim.simulation.trajectory import Load

SMALL = ClipOptions(
    width=640,
    height=360,
    supersample=False,
    layers=frozenset({"stage", "figures", "trail", "ghosts"}),
    shot=Shot(view=(35.0, 12.0)),
)


def shown(run):
    return Show(ClipJob((run,), SMALL))


def with_joints(trajectory, joints, loads=None):
    system = replace(trajectory.system, joints=joints)
    return replace(trajectory, system=system, loads=loads or {})


def side(system, number):
    pose = system.start.pose
    q = pose.quaternion[number]
    zero = np.zeros(3)
    return Side(pose.position[number], q, rotations.matrix(q), zero, zero)


def string(length=0.3, beam=(0.1, 0.0, -0.02)):
    return String("string", (1, WORLD), np.array([[0.055, 0, 0], beam]), length=length)


def blue(image, colour=palette.STRING):
    """Pixels near a joint's hue: much more blue than red."""
    rgb = np.asarray(image).astype(int)
    return (rgb[..., 2] - rgb[..., 0] > 60) & (rgb[..., 2] > 130)


def changed(one, other):
    """How many pixels are plainly of another colour."""
    a, b = (np.asarray(image.convert("RGB")).astype(int) for image in (one, other))
    return int((np.abs(a - b).max(axis=2) > 60).sum())


def test_a_string_is_drawn_between_its_ends_and_gone_once_it_parted(trajectory, drawing):
    stills = {}
    for when in (0.3, 0.4):
        parted = {"string": Load(1.0, 0.1, parted=when)}
        with shown(with_joints(trajectory, (string(),), parted)) as show:
            stills[when] = show.still(0.39), show.still(0.41)
    assert changed(stills[0.4][0], stills[0.3][0]) > 100  # there, and gone already
    assert changed(stills[0.4][1], stills[0.3][1]) < 20  # gone in both


@pytest.mark.parametrize("kind", ["hinge", "slide", "ball", "hand", "clamp", "unmarked"])
def test_every_kind_shows_and_stays_in_the_picture(kind, trajectory, drawing):
    system = trajectory.system
    a, points = side(system, 1), np.array([[0.0, 0.0, 0.07], [0, 0, 0]])
    points[1] = a.position + a.turn @ points[0]
    axis = np.array([0.0, 1.0, 0.0])
    joint = {
        "hinge": lambda: hinge("j", (1, WORLD), points, axis, a, STILL),
        "slide": lambda: slide("j", (1, WORLD), points, axis, a, STILL),
        "ball": lambda: Ball("j", (1, WORLD), points),
        "unmarked": lambda: Joint("j", (1, WORLD), points),
        "hand": lambda: hold("j", (1, WORLD), points, a, STILL, force_limit=10.0),
        "clamp": lambda: hold("j", (1, WORLD), points, a, STILL),
    }[kind]()
    with shown(with_joints(trajectory, (joint,))) as show:
        drawn = np.asarray(show.still(0.0)).astype(int)
        view = show._panes[0]._picture(0)[0].view
    gone = {"j": Load(0.0, 0.0, parted=-1.0)}
    with shown(with_joints(trajectory, (joint,), gone)) as show:
        bare = np.asarray(show.still(0.0)).astype(int)
    rows, columns = np.nonzero(np.abs(drawn - bare).sum(axis=-1) > 60)
    assert len(rows) > 30  # at 640 pixels, as on a phone
    where = crop_around(view, points[1][None], 0)[:2]
    assert np.hypot(columns - where[0], rows - where[1]).min() < 25


@pytest.mark.parametrize("first", [0, 1])
def test_a_rail_lies_in_the_world_whichever_end_is_named_first(first, trajectory):
    system = trajectory.system
    a, axis = side(system, 1), np.array([0.0, 1.0, 0.0])
    here = np.array([a.position, [0, 0, 0]])
    if first == 0:
        rail = slide("j", (1, WORLD), here[::-1], a.turn.T @ axis, a, STILL)
    else:
        rail = slide("j", (WORLD, 1), here, axis, STILL, a)
    sizes = MarkSizes(system, system.start.pose, 0.4, np.eye(3))
    (bar,) = sizes.strokes(rail)
    pose = system.start.pose
    ends = np.array([bar.first, bar.second])
    if bar.carrier != WORLD:
        ends = pose.position[1] + ends @ rotations.matrix(pose.quaternion[1]).T
    along = (ends[1] - ends[0]) / np.linalg.norm(ends[1] - ends[0])
    assert abs(along) == pytest.approx(axis, abs=1e-12)
    assert ends.mean(axis=0) == pytest.approx(a.position, abs=1e-12)


def test_end_points_follow_the_part(trajectory):
    k = 100
    pose = Pose(trajectory.position[k], trajectory.quaternion[k])
    first, second = end_points(string(), pose)
    arm = rotations.matrix(pose.quaternion[1]) @ [0.055, 0, 0]
    np.testing.assert_allclose(first, pose.position[1] + arm, atol=1e-15)
    np.testing.assert_allclose(second, [0.1, 0, -0.02])


def test_joints_stand_out_from_backdrop_part_and_trail():
    """Graphics want 3:1 (WCAG 2.2, 1.4.11, from memory) against the dark stage."""
    for colour in (palette.STRING, palette.JOINT, palette.HANDLE):
        assert palette.contrast_ratio(colour, palette.BACKDROP_HIGH) > 3
