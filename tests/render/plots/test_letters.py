"""Plots find the bundled letters in both weights that they ask for, and say nothing of it."""

import logging

import pytest

from snapsim.render.typeface import Weight, plot_families, weight_path


@pytest.mark.parametrize(("asked", "weight"), [("normal", Weight.PLAIN), ("bold", Weight.BOLD)])
def test_a_weight_is_found_without_a_complaint(asked, weight, caplog):
    from matplotlib.font_manager import FontProperties, fontManager

    wanted = FontProperties(family=plot_families(), weight=asked, size=11.37)
    with caplog.at_level(logging.INFO, "matplotlib"):
        assert fontManager.findfont(wanted) == str(weight_path(weight))
    assert not caplog.messages
