"""Flashes counted as WCAG 2.2 defines them (cited in the module)."""

import numpy as np
import pytest
from PIL import Image

from snapsim.render import flashes, palette, timeline

FPS = 60
PATCHES = flashes.PATCHES[::-1]


def blinking(rate, low=0.0, high=0.5, seconds=2.0, area=1.0):
    """Pictures whose first patches go to and fro `rate` times a second."""
    t = np.arange(int(seconds * FPS)) / FPS
    light = np.full((len(t), PATCHES[0] * PATCHES[1]), 0.3)
    count = round(area * light.shape[1])
    light[:, :count] = np.where((t * rate) % 1 < 0.5, low, high)[:, None]
    return light.reshape(-1, *PATCHES)


@pytest.mark.parametrize("rate", [1, 2, 3, 5, 10])
def test_a_light_that_blinks_n_times_a_second_flashes_n_times(rate):
    assert flashes.most_flashes(blinking(rate), FPS) in (rate, rate - 1)


def test_small_faint_and_bright_changes_do_not_count():
    assert flashes.most_flashes(blinking(10, area=0.02), FPS) == 0
    assert flashes.most_flashes(blinking(10, 0.3, 0.39), FPS) == 0
    assert flashes.most_flashes(blinking(10, 0.82, 0.95), FPS) == 0
    assert flashes.most_flashes(blinking(10, area=0.04), FPS) >= 9


def test_luminance_is_wcag_s_of_each_patch():
    picture = Image.new("RGB", (320, 180), palette.NORTH)
    want = palette.relative_luminance(palette.NORTH)
    assert flashes.luminance(picture) == pytest.approx(np.full(PATCHES, want), abs=1e-12)


@pytest.mark.parametrize("slow", [1.0, 5.0, 100.0])
@pytest.mark.parametrize("impact", [0.01, 0.5, 0.99])
def test_cuts_of_a_timeline_are_too_far_apart_to_flash(impact, slow):
    """Each cut goes dark and comes back: one flash. In no second are there more than three."""
    line = timeline.build(1.0, impact, slow, None, timeline.Extras(2.6, 0.5, True, 3.6))
    check_cuts(line)


def test_cuts_round_a_very_short_run_are_as_far_apart():
    check_cuts(timeline.build(0.02, 0.01, 1.0, None, timeline.Extras(2.6, 0.0, True, 3.6)))


def check_cuts(line):
    assert len(line.cuts) == 3
    assert np.diff(line.cuts).min() >= 2 * timeline.VEIL  # fully bright in between
    bright = np.array([1 - line.veil_at(t) for t in line.frame_times(FPS)])
    light = np.broadcast_to(bright[:, None, None], (len(bright), *PATCHES))
    assert 0 < flashes.most_flashes(light, FPS) <= flashes.LIMIT
