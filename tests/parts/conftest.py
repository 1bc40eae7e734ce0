"""Outlines and surfaces that several tests of shapes share."""

import numpy as np
import pytest

L_OUTLINE = ((0, 0), (0.06, 0), (0.06, 0.01), (0.01, 0.01), (0.01, 0.04), (0, 0.04))


@pytest.fixture
def l_outline():
    return L_OUTLINE


@pytest.fixture
def cog_outline():
    """A toothed wheel of 24 teeth, 80 to 100 mm in radius."""
    k = np.arange(96)
    angle, radius = 2 * np.pi * k / 96, np.where(k % 4 < 2, 0.1, 0.08)
    return tuple(
        zip((radius * np.cos(angle)).tolist(), (radius * np.sin(angle)).tolist(), strict=True)
    )
