"""The HTML of one run, opened from disk."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from chromium import Chromium, Tab

import snapsim
from snapsim.page.one_run import one_run_html, write_one_run
from snapsim.render.interpolation import sample
from snapsim.simulation.trajectory import Trajectory

MOMENT = 0.037

# The drawn part of the canvas as numbers: how many colours it has, and a sum over its dots.
CANVAS = """(() => { const v = snapsim.page.view, g = v.gl;
  v.lively = false; v.draw(); // in full size, however slow the machine
  const w = v.canvas.width, h = v.canvas.height, p = new Uint8Array(4 * w * h);
  g.readPixels(0, 0, w, h, g.RGBA, g.UNSIGNED_BYTE, p);
  const seen = new Set(), q = window.now_; let moved = 0;
  for (let k = 0; k < p.length; k += 4) seen.add(p[k] << 16 | p[k + 1] << 8 | p[k + 2]);
  if (q) for (let k = 0; k < p.length; k += 4) moved += Math.abs(p[k] - q[k]) > 40;
  window.now_ = p;
  return [seen.size, moved]; })()"""


@pytest.fixture(scope="module")
def run(scene: Path) -> Trajectory:
    return snapsim.release(snapsim.load_scene(scene))


@pytest.fixture(scope="module")
def tab(run: Trajectory, browser: Chromium, tmp_path_factory: pytest.TempPathFactory) -> Tab:
    path = tmp_path_factory.mktemp("one") / "run.html"
    write_one_run(run, path)
    assert path.stat().st_size < 3_000_000
    made = browser.open(path.as_uri(), (1000, 640))
    made.wait("snapsim.page.view.drawn > 0")
    return made


def test_it_asks_nothing_of_any_network(tab: Tab) -> None:
    assert all(u.startswith(("file:", "data:")) for u in tab.requests)
    assert tab.errors == []


def test_the_stage_is_drawn_and_scrubbing_moves_the_part(tab: Tab) -> None:
    for layer in ("force", "torque", "trail", "start"):  # only the bodies count here
        tab.js(f"snapsim.page.toggleLayer('{layer}')")
    colours, _ = tab.js(CANVAS)
    assert colours > 500  # a blank canvas has one
    assert tab.js(CANVAS)[1] == 0
    tab.js("document.querySelector('.scrub').value = 0.055")
    tab.js("document.querySelector('.scrub').dispatchEvent(new Event('input'))")
    assert tab.js("snapsim.page.time") == pytest.approx(0.055)
    assert tab.js(CANVAS)[1] > 300
    for layer in ("force", "torque", "trail", "start"):
        tab.js(f"snapsim.page.toggleLayer('{layer}')")


def test_its_figures_and_poses_are_those_of_the_run(tab: Tab, run: Trajectory) -> None:
    tab.js(f"snapsim.page.seek({MOMENT})")
    moment = sample(run, MOMENT)
    now = tab.data("snapsim.page.now")
    speed = float(np.linalg.norm(moment.velocity[1]))
    # float32 in the file; speeds are mixed linearly between frames there, vectors here
    assert now["speed"] == pytest.approx(speed, rel=1e-3)
    assert now["kinetic"] == pytest.approx(moment.kinetic, rel=1e-4)
    assert now["gap"] == pytest.approx(moment.gap, rel=1e-5)
    pose = tab.data("snapsim.page.view.poses[1]")
    np.testing.assert_allclose(pose["position"], moment.position[1], atol=1e-7)
    np.testing.assert_allclose(pose["quaternion"], moment.quaternion[1], atol=1e-6)
    shown = tab.js("document.querySelector('.figures').innerText")
    assert f"{speed:.2f}" in shown
    assert abs(moment.gap) < 5e-7  # they touch
    assert "gap to magnet\n0 mm" in shown


def test_space_plays_and_the_caution_is_there(tab: Tab) -> None:
    assert "permission" in tab.js("document.querySelector('.caution').innerText")
    tab.js("document.querySelector('canvas').focus()")
    tab.press(" ")
    tab.wait(f"snapsim.page.time > {MOMENT}")
    tab.press(" ")
    tab.wait("!snapsim.page.playing")


def test_a_title_cannot_end_the_script_it_stands_in(scene: Path) -> None:
    wild = "title='<!--DATA--></script><b>'"
    text = one_run_html(snapsim.release(snapsim.load_scene(scene, [wild, "run.duration='1 ms'"])))
    assert "&lt;!--DATA--&gt;&lt;/script&gt;" in text
    assert "</script><b>" not in text


def test_playback_thins_frames_but_not_those_at_an_impact() -> None:
    from types import SimpleNamespace
    from typing import Any, cast

    from snapsim.page.playback import MOST_FRAMES, frames_kept

    time = np.sort(np.concatenate([np.linspace(0, 1, 20_001), [0.31234]]))
    at = int(np.flatnonzero(time == 0.31234)[0])
    stand_in: Any = SimpleNamespace(time=time, impacts=[SimpleNamespace(time=0.31234)])
    kept = frames_kept(cast("Trajectory", stand_in))
    assert len(kept) <= MOST_FRAMES + 3
    assert {at - 1, at, at + 1} <= set(kept.tolist())
    assert (kept[0], kept[-1]) == (0, len(time) - 1)


def test_the_audit_is_told_of_a_run_the_heat_of_eddy_currents_in_it(run: Trajectory) -> None:
    from snapsim.analysis.summary import summary
    from snapsim.analysis.tables import run_notes
    from snapsim.page.playback import playback

    told = summary(run)
    said = [note["says"] for note in playback(run)["notes"]]
    assert said == [says for says, _ in run_notes(told)]
    (released,) = [line for line in said if line.startswith("magnetic energy released")]
    assert f"{told['energy']['magnetic_released_J']:.4g} J" in released
    heated = told | {"braking": {"joule_heat_J": 0.25, "says": "braked", "left_out": ["iron"]}}
    found = run_notes(heated)
    assert ("braked", False) in found
    assert ("note: iron", True) in found
    assert any("eddy currents 0.25 J" in says for says, _ in found)
    lost = told | {"energy": told["energy"] | {"unaccounted_fraction": 0.02}}
    assert any(warns and "do not rely on it" in says for says, warns in run_notes(lost))
