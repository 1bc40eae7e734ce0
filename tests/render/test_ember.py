"""The colours of magnetisation: lighter step by step, apart from bare iron, with any colour vision.

CIEDE2000: Sharma, Wu and Dalal, Color Res. Appl. 30, 21 (2005), eqs. 2 to 22, with pairs 1, 7 and
25 of their table 1. Colour vision without one kind of cone: Machado, Oliveira and Fernandes, IEEE
Trans. Vis. Comput. Graph. 15, 1291 (2009), matrices of severity 1.0, on linear sRGB. All from
memory; the three pairs catch a slip in the formula.
"""

import numpy as np
import pytest

from snapsim.render import ember, palette

VISIONS = {
    "normal": np.eye(3),
    "protan": np.array([[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216],
                        [-0.003882, -0.048116, 1.051998]]),
    "deutan": np.array([[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413],
                        [-0.011820, 0.042940, 0.968881]]),
    "tritan": np.array([[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602],
                        [0.004733, 0.691367, 0.303900]]),
}  # fmt: skip
TO_XYZ = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]])


def seen(srgb, vision):
    """CIE L*a*b* (n, 3) of sRGB 0..1 as a kind of vision has it."""
    c = np.atleast_2d(srgb)
    linear = np.where(c <= 0.04045, c / 12.92, ((c + 0.055) / 1.055) ** 2.4)
    linear = np.clip(linear @ VISIONS[vision].T, 0, 1)
    xyz = linear @ TO_XYZ.T / TO_XYZ.sum(axis=1)
    f = np.where(xyz > (6 / 29) ** 3, np.cbrt(xyz), xyz / (3 * (6 / 29) ** 2) + 4 / 29)
    x, y, z = f.T
    return np.stack([116 * y - 16, 500 * (x - y), 200 * (y - z)], axis=-1)


def ciede2000(one, other):
    """The difference of two L*a*b* colours (n, 3)."""
    (l1, a1, b1), (l2, a2, b2) = np.atleast_2d(one).T, np.atleast_2d(other).T
    mean = (np.hypot(a1, b1) + np.hypot(a2, b2)) / 2
    g = 0.5 * (1 - np.sqrt(mean**7 / (mean**7 + 25.0**7)))
    c1, c2 = np.hypot((1 + g) * a1, b1), np.hypot((1 + g) * a2, b2)
    h1 = np.degrees(np.arctan2(b1, (1 + g) * a1)) % 360
    h2 = np.degrees(np.arctan2(b2, (1 + g) * a2)) % 360
    grey = c1 * c2 == 0
    turn = np.where(grey, 0.0, (h2 - h1 + 180) % 360 - 180)
    dl, dc, dh = l2 - l1, c2 - c1, 2 * np.sqrt(c1 * c2) * np.sin(np.radians(turn / 2))
    ml, mc = (l1 + l2) / 2, (c1 + c2) / 2
    mh = np.where(grey, h1 + h2, (h1 + turn / 2) % 360)
    t = 1 - 0.17 * np.cos(np.radians(mh - 30)) + 0.24 * np.cos(np.radians(2 * mh))
    t += 0.32 * np.cos(np.radians(3 * mh + 6)) - 0.20 * np.cos(np.radians(4 * mh - 63))
    sl = 1 + 0.015 * (ml - 50) ** 2 / np.sqrt(20 + (ml - 50) ** 2)
    sc, sh = 1 + 0.045 * mc, 1 + 0.015 * mc * t
    spin = 30 * np.exp(-(((mh - 275) / 25) ** 2))
    r = -np.sin(np.radians(2 * spin)) * 2 * np.sqrt(mc**7 / (mc**7 + 25.0**7))
    x, y, z = dl / sl, dc / sc, dh / sh
    return np.sqrt(x**2 + y**2 + z**2 + r * y * z)


@pytest.mark.parametrize(
    ("one", "other", "told"),
    [
        ((50.0, 2.6772, -79.7751), (50.0, 0.0, -82.7485), 2.0425),
        ((50.0, 0.0, 0.0), (50.0, -1.0, 2.0), 2.3669),
        ((60.2574, -34.0099, 36.2677), (60.4626, -34.1751, 39.4387), 1.2644),
    ],
)
def test_the_formula_gives_published_differences(one, other, told):
    assert ciede2000(one, other)[0] == pytest.approx(told, abs=1e-4)


@pytest.mark.parametrize("vision", VISIONS)
def test_every_sixteenth_is_lighter_than_the_one_before_and_well_apart_from_it(vision):
    """Lightness alone tells the order; 2.3 is just noticeable side by side."""
    steps = seen(ember.colours(np.arange(17) / 16), vision)
    assert np.diff(steps[:, 0]).min() > 0.5
    assert ciede2000(steps[:-1], steps[1:]).min() > 2.3


@pytest.mark.parametrize("vision", VISIONS)
def test_every_step_stands_out_from_bare_iron(vision):
    """By 5 at least, from where the colour covers the iron (`ember.FULL`)."""
    steps = seen(ember.colours(np.linspace(ember.FULL, 1, 40)), vision)
    iron = seen(np.array(palette.rgb("#8D8F90")) / 255, vision)
    assert ciede2000(steps, np.broadcast_to(iron, steps.shape)).min() > 5


def test_iron_below_a_twenty_fifth_of_saturation_looks_bare_and_the_cover_rises():
    share = np.linspace(0, 1, 101)
    cover = ember.cover(share)
    assert cover[share <= ember.FROM].max() == 0
    assert cover[share >= ember.FULL].min() == 1
    assert np.diff(cover).min() >= 0
