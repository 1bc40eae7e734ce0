"""Words and figures over the picture."""

import itertools

import numpy as np
import pytest
from PIL import Image, ImageDraw

from snapsim.render import overlay
from snapsim.render.interpolation import sample
from snapsim.render.layout import lay_out
from snapsim.render.readings import Reading, choose_scales, impact_line, readings

SIZES = [(1280, 720), (1920, 1080), (720, 1280), (1080, 1080), (480, 270), (640, 480)]
LONG = [
    Reading("time", "12.3456", "s"),
    Reading("speed", "12.34", "m/s"),
    Reading("kinetic energy, all", "1234.56", "J"),
    Reading("gap to magnet", "1234.5", "mm"),
]


def boxes(layout):
    named = (layout.title, layout.pace, layout.impact, layout.scale, layout.key, layout.caution)
    return [*named, *layout.cells, *layout.panels]


def overlap(a, b):
    return a[0] < b[2] and b[0] < a[2] and a[1] < b[3] and b[1] < a[3]


@pytest.mark.parametrize("size", SIZES)
def test_every_box_is_inside_the_picture_and_none_overlaps_another(size):
    layout = lay_out(*size, panels=2)
    found = boxes(layout)
    for left, top, right, bottom in found:
        assert 0 <= left < right <= size[0]
        assert 0 <= top < bottom <= size[1]
    for i, a in enumerate(found):
        assert not any(overlap(a, b) for b in found[i + 1 :])


def drawn_text(monkeypatch, size, figures, pace="1/1000 of real time", blow="x" * 200):
    """Draw a whole overlay and return (text, its bounding box) of everything set."""
    found = []
    original = ImageDraw.ImageDraw.text

    def spy(pen, place, text, *args, **more):
        face = args[1] if len(args) > 1 else more["font"]
        found.append((text, pen.textbbox(place, text, face, anchor=more.get("anchor"))))
        return original(pen, place, text, *args, **more)

    monkeypatch.setattr(ImageDraw.ImageDraw, "text", spy)
    words = overlay.ClipOverlay(
        lay_out(*size), "A title " * 20, 3000.0, magnets=True, top_polarisation=1.5
    )
    words.show(Image.new("RGB", size), figures, pace, blow)
    return found


@pytest.mark.parametrize("size", SIZES)
def test_no_text_is_cut_off_even_with_the_longest_words(monkeypatch, size):
    found = drawn_text(monkeypatch, size, LONG)
    for _, (left, top, right, bottom) in found:
        assert left >= 0
        assert top >= 0
        assert right <= size[0]
        assert bottom <= size[1]
    layout = lay_out(*size, panels=2)
    for reading, cell in zip(LONG, layout.cells, strict=True):
        right = next(box[2] for text, box in found if text == reading.unit)
        assert right <= cell[2]


@pytest.mark.parametrize("size", SIZES)
def test_the_whole_caution_is_shown_and_large_enough(monkeypatch, size):
    found = drawn_text(monkeypatch, size, LONG)
    said = " ".join(text for text, _ in found)
    assert overlay.CAUTION in said
    tall = max(box[3] - box[1] for text, box in found if text.startswith("Computed"))
    assert tall >= 0.018 * min(size)


def test_shown_figures_are_the_trajectory_s_numbers(monkeypatch, trajectory):
    scales = choose_scales([trajectory], 20.0)
    for k in (0, 30, 59, 90):
        moment = sample(trajectory, trajectory.time[k])
        said = [t for t, _ in drawn_text(monkeypatch, (1280, 720), readings(moment, 1, scales))]
        speed = np.linalg.norm(trajectory.velocity[k, 1])
        for number, unit in (
            (f"{trajectory.time[k]:.3f}", "s"),
            (f"{speed:.2f}", "m/s"),
            (f"{trajectory.energy['kinetic'][k]:.2f}", "J"),
            (f"{1e3 * trajectory.gap[k]:.1f}", "mm"),
        ):
            assert (number, unit) in itertools.pairwise(said)
        monkeypatch.undo()


def test_the_blow_is_announced_with_its_own_numbers(trajectory):
    blow = trajectory.impacts[0]
    assert impact_line(blow) == (
        f"blank strikes magnet: {blow.closing_speed:.2f} m/s where they meet,"
        f" {blow.kinetic_energy:.2f} J"
    )


def test_a_run_without_another_magnet_shows_no_gap(trajectory):
    moment = sample(trajectory, 0.0)
    alone = type(moment)(**{**vars(moment), "gap": float("nan")})
    assert readings(alone, 1, choose_scales([trajectory], 1.0))[3].number == "–"


def test_scale_bar_is_the_longest_tidy_length_that_fits():
    assert overlay.scale_bar(1000.0, 165) == (0.1, "100 mm")
    assert overlay.scale_bar(1000.0, 99) == (0.05, "50 mm")
    assert overlay.scale_bar(50.0, 165) == (2.0, "2 m")
