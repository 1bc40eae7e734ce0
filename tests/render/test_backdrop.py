"""The backdrop has no bands: neighbours differ by chance, means follow the gradient."""

import numpy as np

from snapsim.render.backdrop import backdrop, dither, gradient


def longest_run(row):
    """The longest stretch of equal values in a row."""
    breaks = np.flatnonzero(np.diff(row) != 0)
    return int(np.diff(np.r_[-1, breaks, len(row) - 1]).max())


def test_no_stretch_of_one_value_is_long_enough_to_be_seen_as_a_band():
    """Rounded plainly the same gradient has steps of tens of pixels."""
    size, middle = (960, 540), (0.5, 0.46)
    picture = np.asarray(backdrop(size, middle)).astype(int)
    plain = np.rint(gradient(size, middle)).astype(int)
    for k in range(3):
        runs = [longest_run(picture[row, :, k]) for row in range(0, 540, 27)]
        flat = [longest_run(plain[row, :, k]) for row in range(0, 540, 27)]
        assert max(runs) < 30
        assert max(flat) > 60


def test_dithering_keeps_the_mean_to_a_fiftieth_of_a_step():
    grey = np.full((400, 400, 3), 20.37, np.float32)
    drawn = dither(grey, seed=3)
    assert abs(drawn[..., 0].mean() - 20.37) < 0.02
    assert len(np.unique(drawn)) > 1


def test_it_is_the_same_every_time():
    assert backdrop((320, 180)).tobytes() == backdrop.__wrapped__((320, 180)).tobytes()
