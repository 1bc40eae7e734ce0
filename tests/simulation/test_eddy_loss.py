"""What eddy currents would have taken from a run: against integrals of closed forms."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.integrate import quad

from snapsim.analysis.summary import summary
from snapsim.constants import MU_0
from snapsim.parts.materials import MagnetisationCurve, Material
from snapsim.parts.shapes import Box, Cylinder, Sphere
from snapsim.run.release import release
from snapsim.scenario.loading import scene_from_text
from snapsim.simulation.eddy_loss import _Inside, body_loss, eddy_estimate
from snapsim.words.eddy_currents import with_eddy_words

COPPER = Material("copper", 8960.0, conductivity=5.8e7)


def iron(susceptibility, conductivity):
    return Material("iron", 7800.0, MagnetisationCurve(susceptibility), conductivity=conductivity)


def ramped(body, shape_points, volume, rate, times):
    """B rising alike everywhere."""
    field = times[:, None, None] * np.broadcast_to(rate, (len(shape_points), 3))
    return body_loss(body, _Inside(shape_points, volume, field), times)


def test_a_slow_ramp_heats_a_ball_by_the_textbook_power(make_body):
    # sigma V a^2 B'^2 / 10 (Landau & Lifshitz, section 59; from memory). Points on a sphere of
    # radius a sqrt(3/5) have the ball's second moment.
    body = make_body("ball", Sphere(0.02), COPPER)
    reach = 0.01 * np.sqrt(0.6)
    points = reach * np.concatenate([np.eye(3), -np.eye(3)])
    volume = np.full(6, body.shape.volume / 6)
    found = ramped(body, points, volume, (0.3, 0, 0.4), np.linspace(0, 10, 11))
    # slow: the skin is as deep as the ball is thick, and F there 1 - 1e-3
    expected = 5.8e7 * body.shape.volume * 1e-4 / 10 * 0.25 * 10
    assert found.energy == pytest.approx(expected, rel=2e-3)
    assert found.diffusion_time == pytest.approx(MU_0 * 5.8e7 * 1.2e-4 / np.pi**2, rel=1e-6)


def test_a_permeable_bodys_diffusion_time_counts_its_permeability(make_body):
    points = 0.01 * np.concatenate([np.eye(3), -np.eye(3)])
    times = np.linspace(0, 0.01, 5)
    found = [
        ramped(make_body("p", Sphere(0.02), m), points, np.ones(6), (0, 0, 1.0), times)
        for m in (replace(COPPER, conductivity=1e6), iron(199.0, 1e6))
    ]
    assert found[1].diffusion_time == pytest.approx(200 * found[0].diffusion_time, rel=1e-6)
    assert found[1].skin_depth == pytest.approx(found[0].skin_depth / np.sqrt(200), rel=1e-6)


def axial_field_gradient(z, radius, length, remanence):
    """dB/dz on the axis of a cylinder magnet, centre at 0 (any text: two charged discs)."""
    ends = np.array([z + length / 2, z - length / 2])
    slopes = radius**2 / (radius**2 + ends**2) ** 1.5
    return remanence / 2 * (slopes[0] - slopes[1])


def test_a_copper_ball_thrown_at_a_magnet_loses_the_integral_of_its_heating(make_body, make_system):
    # Q = sigma V a^2/10 v integral (dB/dz)^2 dz on the axis (a ball small beside the distance)
    magnet = make_body(
        "magnet", Cylinder(0.06, 0.03), Material("m", 7500.0, remanence=1.3), (0, 0, 1), True
    )
    ball = make_body("ball", Sphere(0.006), COPPER)
    start, speed, time = -0.12, 3.0, 0.02
    rows = [(magnet, (0, 0, 0)), (ball, (0, 0, start), None, (0, 0, speed))]
    system = make_system(rows, duration=time, gravity=(0, 0, -1e-3))
    run = release(replace(system, eddy_currents=False))
    shape = ball.shape
    square = quad(
        lambda z: axial_field_gradient(z, 0.03, 0.03, 1.3) ** 2, start, start + speed * time
    )[0]
    expected = 5.8e7 * shape.volume * 0.003**2 / 10 * speed * square
    # the ball's size beside the distance, (3 mm/60 mm)^2, and steps between frames
    assert run.accuracy["eddy_loss_J"] == pytest.approx(expected, rel=0.03)
    # where they act, on cells that heat a little less; it hardly slows the ball
    assert release(system).audit.joule_heat == pytest.approx(expected, rel=0.05)
    assert run.accuracy["eddy_body"] == "ball"


def test_a_falling_copper_plate_is_said_to_be_braked(make_body, make_system):
    magnet = make_body(
        "magnet", Box((0.1, 0.1, 0.05)), Material("m", 7500.0, remanence=1.3), (0, 0, 1), True
    )
    plate = make_body("plate", Box((0.1, 0.1, 0.01)), COPPER)
    rows = [(magnet, (0, 0, 0)), (plate, (0, 0, 0.10))]
    run = release(replace(make_system(rows, duration=0.15), eddy_currents=False))
    found = run.accuracy
    assert found["eddy_loss_fraction"] > 1  # no back-reaction: it would hardly fall
    assert "may take all of the energy" in with_eddy_words(found)["warning"]
    assert "plate" in with_eddy_words(found)["warning"]
    wood = release(make_system([(magnet, (0, 0, 0)), (make_body("p", plate.shape), (0, 0, 0.1))]))
    small = with_eddy_words({**found, "eddy_loss_fraction": 0.035})
    assert "2.8 to 5.6 % less energy, 1.4 to 2.8 % less speed" in small["eddy_band"]
    assert "warning" not in small
    assert "eddy_band" not in with_eddy_words({**found, "eddy_loss_fraction": 1e-3})
    assert "warning" not in with_eddy_words(wood.accuracy)
    assert "eddy_loss_J" not in wood.accuracy


def test_the_more_conducting_iron_loses_more(make_body, make_system):
    magnet = make_body(
        "magnet", Cylinder(0.04, 0.02), Material("m", 7500.0, remanence=1.3), (0, 0, 1), True
    )

    def lost(conductivity):
        ball = make_body("ball", Sphere(0.02), iron(300.0, conductivity))
        rows = [(magnet, (0, 0, 0.045)), (ball, (0, 0, 0))]
        return release(make_system(rows, duration=0.04, detail="draft")).accuracy

    poor, good, unknown = lost(1e4), lost(1e6), lost(None)
    assert 0 < poor["eddy_loss_fraction"] < 2e-3
    assert 10 < good["eddy_loss_J"] / poor["eddy_loss_J"] < 100
    assert unknown["eddy_unknown"] == "ball"
    assert "eddy_loss_J" not in unknown


def test_nothing_is_said_where_there_is_no_magnet(make_body, make_system):
    rows = [(make_body("ball", Sphere(0.02), COPPER), (0, 0, 1))]
    run = release(make_system(rows, duration=0.01))
    assert eddy_estimate(run) == {}


THROWN, FIXED = 'velocity = "2 m/s, 0, 0 m/s"', "fixed = true"

OVER_COPPER = """
title = "invented: magnet thrown over copper with steel near it"
[[body]]
name = "magnet"
shape = {{ kind = "cylinder", diameter = "16 mm", length = "10 mm" }}
material = "NdFeB N45"
magnetised = "+z"
position = "-20 mm, 0, 30 mm"
{magnet}
[[body]]
name = "copper"
shape = {{ kind = "box", size = "160 x 160 x 1 mm" }}
material = "copper"
position = "0, 0, 0 mm"
fixed = true
[[body]]
name = "steel"
shape = {{ kind = "box", size = "160 x 160 x 10 mm" }}
material = "low-carbon steel"
position = "0, 0, {height} mm"
{steel}
[run]
duration = "15 ms"
detail = "draft"
"""


@pytest.mark.parametrize(
    ("height", "low", "high", "words"),
    [
        (-6, 1.0, 1.0, "by 100 % or more"),
        (6.5, 1.0, 1.0, "by 100 % or more"),
        (-40, 0.03, 0.5, "by up to"),
        (-300, 0.0, 0.02, "less than 2 %"),
    ],
)
def test_what_iron_may_change_of_the_braking_is_said_and_in_the_bar(height, low, high, words):
    """A wide steel plate behind a thin conductor doubles the field across it (an image; any text):
    four times the heat; in front of it it shields; far away it does nothing."""
    text = OVER_COPPER.format(height=height, magnet=THROWN, steel=FIXED)
    run = release(scene_from_text(text, "over copper"))
    assert low <= run.accuracy["iron_share"] <= high
    said, *_ = summary(run)["braking"]["left_out"]
    assert words in said


def test_copper_that_only_iron_moves_by_is_estimated():
    """A steel plate thrown along under a copper one with a magnet above: no magnet moves, so
    nothing brakes it in the run, and the estimate says what would."""
    text = OVER_COPPER.format(height=-20, magnet=FIXED, steel=THROWN)
    system = scene_from_text(text.replace("160 x 160 x 10", "30 x 30 x 10"), "by copper")
    steel = replace(system.bodies[2], material=replace(system.bodies[2].material, conductivity=0.0))
    run = release(replace(system, bodies=(*system.bodies[:2], steel)))
    assert not run.currents
    assert run.accuracy["eddy_body"] == "copper"
    assert run.accuracy["eddy_loss_J"] > 0
