"""The energy that a part rolls down: its crest, what wins on either side, the bead on it."""

import dataclasses

import numpy as np
import pytest
from PIL import Image, ImageDraw

from snapsim.numerics import rotations
from snapsim.render.film_words import set_in
from snapsim.render.interpolation import sample
from snapsim.render.layout import lay_out_film
from snapsim.render.lines import StoryLine
from snapsim.render.panels import EnergySlope
from snapsim.render.slope import Slope, Wins, left_of, slope_of


def made_up(crest=12.0):
    """A crest: weight falls to the left of it, the field's energy to the right."""
    at = np.arange(-60.0, 61.0)
    weight = np.where(at < crest, 0.01 * (at - crest), 0.0)
    field = np.where(at > crest, 0.02 * (crest - at), 0.0)
    return Slope("deg", at, weight + field, weight, np.array([0.0, 1.0, 0.0]))


def test_the_crest_is_found_and_weight_and_pull_win_on_their_sides():
    slope = made_up()
    assert slope.crest == 12.0
    assert slope.words() == (Wins.WEIGHT, Wins.PULL)
    assert slope.window(0.0) == (-60.0, 60.0)


def test_without_a_crest_only_the_side_that_it_falls_to_has_a_word():
    at = np.arange(31.0)
    falling = Slope("mm", at, -(at**2), 0.1 * at, np.array([0, 0, 1.0]))
    assert falling.crest is None
    assert falling.words() == ("", Wins.PULL)


@pytest.mark.parametrize("angle", [-70.0, 5.0, 130.0])
def test_the_bead_is_where_the_part_has_turned_to(trajectory, angle):
    turn = rotations.from_axis_angle([0, 1, 0], np.radians(angle))
    quaternion = rotations.multiply(turn, trajectory.quaternion[0, 1])
    come = made_up().come(trajectory, 1, trajectory.position[0, 1], quaternion)
    assert come == pytest.approx(angle)


def test_what_is_left_is_the_run_s_own_energy(trajectory):
    k = len(trajectory.time)
    energy = {
        **trajectory.energy,
        "magnetic": np.linspace(-3, -5, k),
        "gravity": np.linspace(1, 2, k),
    }
    run = dataclasses.replace(trajectory, energy=energy)
    assert left_of(run, sample(run, run.time[-1])) == pytest.approx(-1.0)


def test_the_curve_of_a_part_on_a_table_is_nought_at_release_and_has_its_weight_in_it(trajectory):
    """Tilted about its edge the blank's own weight gains m g times the rise of its centre."""
    slope = slope_of(trajectory, 1)
    assert slope is not None
    assert np.interp(0.0, slope.at, slope.energy) == pytest.approx(0.0, abs=1e-9)
    body = trajectory.system.bodies[1]
    heavy, widest = body.mass * 9.80665, float(np.linalg.norm(body.shape.extents))
    assert 0 < np.ptp(slope.weight) < 2 * heavy * widest
    several = dataclasses.replace(
        trajectory,
        system=dataclasses.replace(
            trajectory.system,
            bodies=tuple(dataclasses.replace(b, fixed=False) for b in trajectory.system.bodies),
        ),
    )
    assert slope_of(several, 1) is None


@pytest.mark.parametrize("size", [(1920, 1080), (1280, 720), (640, 360)])
def test_words_beside_the_panel_can_be_read_on_a_phone(size):
    layout = lay_out_film(*size, panel=True)
    left, top, right, bottom = layout.words
    for said in (
        "turns upright, then pulled with 25\u00a0N",
        "the pull, 20\u00a0ms before the blow",
    ):
        line = StoryLine(0.0, 1.0, "0.23\u00a0T", said)
        rows = set_in(line, right - left, bottom - top, layout.unit, layout.least)
        assert min(row.points for row in rows) >= layout.least


@pytest.mark.parametrize("size", [(1280, 720), (720, 1280), (720, 720)])
def test_the_panel_stands_clear_of_words_and_caution_and_the_bead_moves(trajectory, size):
    layout = lay_out_film(*size, panel=True)
    (box,) = layout.panels
    assert layout.words[3] <= box[1]
    assert box[3] <= layout.caution[1]
    panel = EnergySlope(made_up(), trajectory, 1, box, layout.unit, layout.least)
    assert panel._size >= layout.least
    drawn = []
    for time in (0.0, 0.15):
        picture = Image.new("RGB", size)
        panel.show(ImageDraw.Draw(picture), sample(trajectory, time))
        drawn.append(picture.getbbox())
    assert drawn[0] != drawn[1]
    assert all(b[0] >= box[0] and b[2] <= box[2] and b[3] <= box[3] for b in drawn)
