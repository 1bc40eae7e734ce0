"""A solid from a STEP file: read in its own unit, as good as its triangles, or refused in a line.

`plate.step` is a plate of 60 x 40 x 10 mm with a hole of 16 mm, `two.step` a box and a ball apart;
both written by Open CASCADE 8.0 (cadquery-ocp).
"""

import shutil
import sys
from math import pi
from pathlib import Path

import numpy as np
import pytest

from snapsim.errors import InputError, MissingExtra
from snapsim.scenario.loading import load_scene

DRAWINGS = Path(__file__).parent / "drawings"
SCENE = """
title = "Invented scene of one drawn part"
[[body]]
name = "part"
shape = {{ kind = "mesh", file = "{file}"{more} }}
material = "low-carbon steel"
position = "10, 20, 30 mm"
"""


@pytest.fixture
def part(tmp_path):
    """Loads a scene of one part, drawn in a file that is copied or written beside it."""

    def load(file, more="", data=None):
        if data is None:
            shutil.copy(DRAWINGS / file, tmp_path)
        else:
            (tmp_path / file).write_bytes(data)
        path = tmp_path / "scene.toml"
        path.write_text(SCENE.format(file=file, more=more))
        return load_scene(path).bodies[0].shape

    return load


@pytest.mark.parametrize(("unit", "size"), [(b".MILLI.", 1.0), (b".CENTI.", 10.0)])
def test_a_solid_has_the_size_and_volume_that_it_was_drawn_with(part, unit, size):
    drawn = (DRAWINGS / "plate.step").read_bytes()
    assert drawn.count(b"SI_UNIT(.MILLI.,.METRE.)") == 1
    shape = part("part.STP", data=drawn.replace(b".MILLI.,.METRE.", unit + b",.METRE."))
    assert 2 * shape.extents == pytest.approx(size * np.array([0.06, 0.04, 0.01]), rel=1e-6)
    facets = 32  # places are written as float32: 1e-7
    hole = 0.5 * facets * np.sin(2 * pi / facets) * 0.008**2 * 0.01  # a polygon in the circle
    assert shape.volume == pytest.approx(size**3 * (60e-3 * 40e-3 * 10e-3 - hole), rel=1e-6)


def test_a_unit_beside_the_files_own_is_refused(part):
    with pytest.raises(InputError, match=r"shape.*STEP file says its own"):
        part("plate.step", ', unit = "mm"')


def test_two_solids_are_refused_as_two_surfaces_are(part):
    with pytest.raises(InputError, match=r"body\.part\.shape"):
        part("two.step")


@pytest.mark.parametrize("cut", [0, 15000])
def test_a_damaged_file_is_one_line_and_prints_nothing(part, capfd, cut):
    with pytest.raises(InputError, match=r'file: "part.stp" is damaged, or no STEP file') as raised:
        part("part.stp", data=(DRAWINGS / "plate.step").read_bytes()[:cut])
    assert "\n" not in str(raised.value)
    assert capfd.readouterr() == ("", "")


def test_without_the_extra_one_line_says_what_to_install(part, monkeypatch):
    monkeypatch.setitem(sys.modules, "cascadio", None)
    with pytest.raises(MissingExtra, match=r"needs cascadio.*snapsim\[step\]"):
        part("plate.step")
