"""Plots: contrast, sizes and sameness of what is written."""

import numpy as np
import pytest

from snapsim.errors import InputError
from snapsim.landscape.curves import DistanceCurve
from snapsim.render.palette import contrast_ratio
from snapsim.render.plots import PlotOptions, distance_plot, ending_of, save, style_named
from snapsim.render.plots.style import PAPERS, WIDTH


@pytest.mark.parametrize("name", sorted(PAPERS))
def test_text_and_lines_keep_their_contrast(name):
    """WCAG 2.2 (W3C Recommendation, 5 October 2023), success criteria 1.4.3: text 4.5:1, and
    1.4.11: graphics 3:1 (from memory)."""
    paper = PAPERS[name]
    for ink in (paper.ink, paper.soft):
        assert contrast_ratio(ink, paper.page) >= 4.5
    for line in (*paper.series, paper.accent, paper.warn):
        assert contrast_ratio(line, paper.page) >= 3


@pytest.fixture
def plot():
    x = np.linspace(0, 0.1, 11)
    force = np.stack([0 * x, x, 100 * np.exp(-20 * x)], axis=1)
    curve = DistanceCurve(x, np.array([0.0, 0, 1]), force, 0 * force, -x, x)
    return distance_plot(curve, 3.0, "A title that is long enough to be broken into two lines")


@pytest.mark.parametrize("ending", [".png", ".svg", ".pdf"])
def test_the_same_data_give_the_same_bytes(plot, tmp_path, ending):
    files = [tmp_path / f"{k}{ending}" for k in (1, 2)]
    for file in files:
        save(file, plot, PlotOptions(), ending)
    assert files[0].read_bytes() == files[1].read_bytes()
    assert len(files[0].read_bytes()) > 2000


def test_light_and_dark_differ_and_a_png_is_as_wide_as_said(plot, tmp_path):
    import imageio.v3 as images

    shown = []
    for style in ("light", "dark"):
        save(tmp_path / style, plot, PlotOptions(style_named(style), dpi=100), ".png")
        shown.append(images.imread(tmp_path / style, extension=".png"))
    assert shown[0].shape[1] == round(100 * WIDTH)
    assert shown[0].mean() > 200 > 100 > shown[1].mean()


def test_an_unknown_ending_or_style_is_refused_by_name():
    with pytest.raises(InputError, match=r"\.png, \.svg, \.pdf"):
        ending_of("x.jpg")
    with pytest.raises(InputError, match="light, dark"):
        style_named("sepia")
