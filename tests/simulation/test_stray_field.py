"""How far the field of a magnet reaches."""

import numpy as np
import pytest
from scipy.optimize import brentq

from snapsim.analysis import stray_field as kept
from snapsim.analysis.stray_field import stray_lines, stray_summary
from snapsim.scenario.loading import scene_from_text
from snapsim.simulation.stray_field import stray_field

SCENE = """
title = "A cylinder magnet"
[[body]]
name = "magnet"
shape = { kind = "cylinder", diameter = "100 mm", length = "50 mm" }
material = "test magnet"
magnetised = "+z"
position = "0.3, 0, 0 m"
rotation = { axis = "y", angle = "33 deg" }
fixed = true
[[body]]
name = "ball"
shape = { kind = "sphere", diameter = "10 mm" }
material = "aluminium"
position = "0, 0, 1 m"
[[material]]
name = "test magnet"
density = "7500 kg/m^3"
remanence = "1.4 T"
"""


def test_half_a_millitesla_reaches_as_far_as_the_closed_form_says():
    found = stray_field(scene_from_text(SCENE, "c.toml"), np.array([5e-4, 1e-3]), np.array([4.6]))

    def on_axis(z):  # exact field of a cylinder on its axis, any textbook
        ends = [(z + s) / np.hypot(z + s, 0.05) for s in (0.025, -0.025)]
        return 0.7 * (ends[0] - ends[1])

    for reach, limit in zip(found.reach, (5e-4, 1e-3), strict=True):
        exact = brentq(lambda z, b=limit: on_axis(z) - b, 0.1, 3)
        assert reach == pytest.approx(exact, rel=1e-4)  # the bisection's end is far below
    # dipole far field (m = Br V/mu_0, B = mu_0 m/(2 pi r^3)): 0.559344 m and 0.443952 m; the
    # magnet's length and width leave it by about (R/r)^2 = 1 %
    assert found.reach == pytest.approx([0.559344, 0.443952], rel=0.012)
    assert found.largest[0] == pytest.approx(on_axis(4.6), rel=1e-6)
    along = abs(found.direction[0] @ [np.sin(np.radians(33)), 0, np.cos(np.radians(33))])
    assert along == pytest.approx(1, abs=1e-9)


def test_each_limit_is_said_with_its_source():
    entries = stray_summary(scene_from_text(SCENE, "c.toml"))
    lines = stray_lines(entries)
    assert "0.5 mT is met out to 0.56 m" in lines[0]
    assert "IEC 60601-2-33" in lines[0]
    assert "above the limit" in lines[-1]  # 437.5 A m^2 at 4.6 m: 0.9 uT by the dipole


def test_without_a_magnet_there_is_nothing_to_say():
    text = SCENE.replace('"test magnet"', '"oak"', 1).replace('magnetised = "+z"\n', "")
    assert stray_summary(scene_from_text(text, "c.toml")) == []


def test_iron_far_from_the_magnet_is_looked_at_too():
    """A limit met in and round a distant ball: in it B is three times that without it."""
    text = SCENE.replace('"aluminium"', '"low-carbon steel"').replace("10 mm", "200 mm")
    system = scene_from_text(text.replace("0, 0, 1 m", "0.572, 0, 0.419 m"), "c.toml")
    bare = stray_field(scene_from_text(SCENE, "c.toml"), np.array([1e-3]), np.array([]))
    found = stray_field(system, np.array([1e-3]), np.array([]))
    assert bare.reach[0] < 0.45
    assert 0.5 < found.reach[0] < 0.62


@pytest.fixture
def counted(monkeypatch, tmp_path):
    """A cache of its own, kernels as ever, and a list of how often a field was computed."""
    calls = []

    def count(system):
        calls.append(system.title)
        return [{"name": "limit", "distance_m": 0.1 + 0.2 * len(calls)}]

    folder = tmp_path / "kept"
    monkeypatch.setattr(kept, "_computed", count)
    monkeypatch.setattr(kept, "kept_folder", lambda kind: folder)
    return calls, folder


def test_what_was_found_is_kept_for_the_same_scene_and_program_only(counted, monkeypatch):
    calls, folder = counted
    scene = scene_from_text(SCENE, "c.toml")
    first = stray_summary(scene)
    assert stray_summary(scene) == first
    assert len(calls) == 1
    stray_summary(scene_from_text(SCENE.replace("33 deg", "33.1 deg"), "c.toml"))
    assert len(calls) == 2
    monkeypatch.setattr(kept, "program_identity", lambda: "another program")
    stray_summary(scene)
    assert len(calls) == 3
    assert len(list(folder.iterdir())) == 3


def test_a_kept_field_that_is_damaged_is_computed_anew(counted):
    calls, folder = counted
    scene = scene_from_text(SCENE, "c.toml")
    stray_summary(scene)
    (path,) = folder.iterdir()
    held = path.read_bytes()
    path.write_bytes(held.replace(b"0.3", b"0.2"))
    stray_summary(scene)
    assert len(calls) == 2


def test_nothing_is_kept_of_a_program_that_was_edited_meanwhile(counted, monkeypatch):
    calls, folder = counted
    names = iter(["before", "after", "after", "after"])
    monkeypatch.setattr(kept, "program_identity", lambda: next(names))
    scene = scene_from_text(SCENE, "c.toml")
    stray_summary(scene)
    assert not folder.exists()
    stray_summary(scene)
    assert len(calls) == 2


def test_a_cache_that_cannot_be_written_is_no_error(counted):
    calls, folder = counted
    folder.write_text("a file where the folder should be")
    scene = scene_from_text(SCENE, "c.toml")
    assert stray_summary(scene)
    assert stray_summary(scene)
    assert len(calls) == 2
