"""What a run's twins do not repeat is marked in every figure of a clip and of the page."""

import dataclasses

import numpy as np
import pytest
from PIL import Image, ImageDraw

from snapsim.page.playback import marks_of
from snapsim.render.interpolation import sample
from snapsim.render.panels.energy_bars import EnergyBars
from snapsim.render.panels.speed_plot import SpeedPlot
from snapsim.render.readings import choose_scales, impact_line, readings
from snapsim.simulation.reproducibility import ENOUGH, Output, Twins

BOX = (20, 30, 420, 260)


def parted_at(time):
    return Twins(1, 0, 1e-6, time, 1, {}, {})


@pytest.mark.parametrize("apart", [0.3, 0.6])
def test_counters_are_marked_from_where_the_twins_parted(trajectory, apart):
    scales = choose_scales([trajectory], 1.0)
    for time in (0.9 * apart, 1.1 * apart):
        told = readings(sample(trajectory, time), 1, scales, parted_at(apart))
        marked = [r.number.endswith("?") for r in told]
        assert marked == [False, *[time > apart] * 3]
        assert ("one of several courses" in told[0].label) == (time > apart)


def test_a_blow_after_the_parting_is_announced_as_one_of_several_courses(trajectory):
    blow = trajectory.impacts[0]
    assert "one of several courses" in impact_line(blow, parted_at(0.9 * blow.time))
    for twins in (None, parted_at(1.1 * blow.time)):
        assert "courses" not in impact_line(blow, twins)


def drawn_words(monkeypatch, draw):
    words = []
    plain = ImageDraw.ImageDraw.text

    def text(self, place, said, *more, **named):
        words.append(said)
        return plain(self, place, said, *more, **named)

    monkeypatch.setattr(ImageDraw.ImageDraw, "text", text)
    draw(ImageDraw.Draw(Image.new("RGB", (480, 300))))
    return words


def test_panels_say_where_the_twins_parted(trajectory, monkeypatch):
    speed = np.linalg.norm(trajectory.velocity[:, 1], axis=1)
    end = float(trajectory.time[-1])
    for apart, said in ((0.5 * end, True), (np.inf, False)):
        run = dataclasses.replace(trajectory, twins=parted_at(apart))
        plot = SpeedPlot(run, speed, BOX, 1.0, 1, None)
        words = drawn_words(monkeypatch, plot.still)
        assert any("several courses" in w for w in words) == said


def test_bars_mark_what_comes_after(trajectory, monkeypatch):
    names = ("magnetic", "kinetic", "gravity", "dissipated")
    energy = dict.fromkeys(names, np.linspace(0.0, 1.0, len(trajectory.time)))
    run = dataclasses.replace(trajectory, energy=energy)
    bars = EnergyBars(energy, BOX, 1.0, parted_at(0.5 * float(run.time[-1])))
    for share in (0.4, 0.6):
        moment = sample(run, share * float(run.time[-1]))
        words = drawn_words(monkeypatch, lambda pen, at=moment: bars.show(pen, at))
        assert all(w.endswith("?") == (share > 0.5) for w in words)


def test_the_page_marks_what_the_tables_mark():
    outputs = {
        "steady": Output(2.0, (2.0,), 0.0, 0.1),
        "gone": Output(2.0, (3.0,), 0.0, 0.9),
        "unsettled": Output(2.0, (2.0,), 0.0, 0.9),
        "either": Output(458.6, (475.0, 477.0, 476.0, 475.5)[:ENOUGH], 0.0, 0.9),
    }
    from snapsim.analysis.repeats import twins_summary

    told = {"twins": twins_summary(Twins(1, 0, 1e-6, 0.5, 1, outputs, {}), 2)}
    found = marks_of(told)
    assert "steady" not in found
    assert found["gone"] == {"says": "lost", "figure": False}
    assert found["unsettled"]["says"] == "2 ?"
    assert found["either"]["says"].startswith("458.6 or ")
