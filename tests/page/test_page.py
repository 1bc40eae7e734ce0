"""The page in a real browser: load, drag, release, scrub, save, two tabs, reload, bad values."""

from __future__ import annotations

import json
import time
from collections.abc import Callable
from pathlib import Path

import pytest
from chromium import READY, Chromium, Served, Tab

Open = Callable[..., Tab]
PART = """(() => { const p = snapsim.page, v = p.view, b = v.canvas.getBoundingClientRect(),
  [x, y] = v.project(v.poses[p.part].position); return [x + b.left, y + b.top]; })()"""
STAND = "JSON.stringify(snapsim.page.pose.typed_mm)"
KEEP_SOCKETS = """window.sockets = []; window.WebSocket = class extends WebSocket {
  constructor(...given) { super(...given); window.sockets.push(this); } };"""
SETTLED = "!snapsim.page.sending && !snapsim.page.holding"


@pytest.fixture(scope="module")
def tab(served: Served, browser: Chromium) -> Tab:
    """One tab that tests share, in their order."""
    made = browser.open(served.address, (1000, 860))
    made.wait(READY)
    return made


def test_all_that_the_page_loads_comes_from_its_own_server(tab: Tab, served: Served) -> None:
    loaded = [u for u in tab.requests if not u.startswith(("blob:", "data:", "about:"))]
    assert len(loaded) > 8
    assert all(u.startswith(served.address) for u in loaded)
    assert tab.js("document.title") == "snapsim"
    assert tab.refused == []


def test_a_content_security_policy_holds_on_the_live_page(tab: Tab, served: Served) -> None:
    policy = tab.js("fetch(location.href).then((r) => r.headers.get('Content-Security-Policy'))")
    assert "default-src 'none'" in policy
    # an address of this machine that is not this server: refused before anything is sent
    other = "fetch('http://127.0.0.1:9/').then(() => 'asked', () => 'refused')"
    blocked = """new Promise((done) => {
      const told = (e) => done(e.effectiveDirective);
      document.addEventListener("securitypolicyviolation", told, { once: true });
      %s.then(() => setTimeout(() => done("not refused"), 500)); })"""
    assert tab.js(blocked % other) == "connect-src"
    tab.errors.clear()  # the browser's own line about it


def test_the_verdict_of_a_draft_release_stands_on_top_with_its_error(tab: Tab) -> None:
    tab.wait("snapsim.page.verdict && snapsim.page.verdictFor === snapsim.page.poseKey", 60)
    said = tab.js("document.querySelector('.answer').innerText")
    told = tab.data("snapsim.page.verdict")
    assert told["says"] in said
    assert "stronger" in said
    assert ("snaps to the magnet" in said) == (told["kind"] == "snaps")
    large = tab.js("parseFloat(getComputedStyle(document.querySelector('.says strong')).fontSize)")
    assert large >= 18


def test_the_figures_are_those_of_the_force_command(tab: Tab, scene: Path) -> None:
    import numpy as np

    import snapsim

    report = snapsim.force(snapsim.load_scene(scene))
    shown = tab.data("snapsim.page.figures")
    # the page solves to 1e-6 of the energy, which leaves forces good to its root, 1e-3
    np.testing.assert_allclose(shown["force_N"], report.force[1], rtol=1e-3, atol=1e-3)
    np.testing.assert_allclose(shown["torque_Nm"], report.torque[1], rtol=1e-3, atol=1e-4)
    assert shown["magnetic_energy_J"] == pytest.approx(report.magnetic_energy, rel=1e-5)
    pull = float(np.linalg.norm(report.force[1]))
    text = tab.js("document.querySelector('.figure').innerText")
    assert f"{pull:.3g}"[:3] in text


def test_dragging_the_part_moves_it_and_its_figures(tab: Tab) -> None:
    before, force = tab.js(STAND), tab.js("snapsim.page.pull")
    tab.js("snapsim.delays = []")
    x, y = tab.js(PART)
    tab.drag(x, y, 40, -30, steps=5)
    tab.wait(SETTLED)
    assert tab.js(STAND) != before
    assert tab.js("snapsim.page.pull") != force
    delays = tab.data("snapsim.delays")  # what a moment costs is told, and judged by nobody here
    assert delays
    assert all(d["event"] <= d["all"] for d in delays)


def test_quick_drags_that_end_where_they_began_leave_the_part_where_it_was(tab: Tab) -> None:
    """An answer to an earlier place never pulls the part from under the next grip."""
    before = tab.data("snapsim.page.pose.typed_mm")
    x, y = tab.js(PART)
    for _ in range(15):
        tab.mouse("mousePressed", x, y, held=True)
        for dx in (25, 50, 25, 0):
            tab.mouse("mouseMoved", x + dx, y, held=True)
        tab.mouse("mouseReleased", x, y)
    tab.wait(SETTLED)
    after = tab.data("snapsim.page.pose.typed_mm")
    assert after == pytest.approx(before, abs=1e-3)  # a micrometre: the pixels are the same


def test_dragging_with_shift_tilts_and_leaves_the_centre(tab: Tab) -> None:
    before = tab.js("JSON.stringify(snapsim.page.pose.typed_deg)")
    place = tab.js(STAND)
    x, y = tab.js(PART)
    tab.drag(x, y, 30, 0, steps=5, shift=True)
    tab.wait(SETTLED)
    assert tab.js("JSON.stringify(snapsim.page.pose.typed_deg)") != before
    assert tab.js(STAND) == place


def test_a_second_finger_tilts_while_the_first_holds_the_part(tab: Tab) -> None:
    before = tab.js("JSON.stringify(snapsim.page.pose.typed_deg)")
    x, y = tab.js(PART)
    tab.fingers("touchStart", (x, y))
    tab.fingers("touchStart", (x, y), (x + 80, y + 60))
    tab.fingers("touchMove", (x, y), (x + 120, y + 60))
    tab.fingers("touchEnd")
    tab.wait(SETTLED)
    assert tab.js("JSON.stringify(snapsim.page.pose.typed_deg)") != before


def test_dragging_beside_the_part_looks_round(tab: Tab) -> None:
    before, azimuth = tab.js(STAND), tab.js("snapsim.page.view.camera.azimuth")
    left, top = tab.data(
        "(({ left, top }) => [left, top])(snapsim.page.view.canvas.getBoundingClientRect())"
    )
    tab.drag(left + 40, top + 90, 50, 0, steps=3)
    assert tab.js("snapsim.page.view.camera.azimuth") != azimuth
    assert tab.js(STAND) == before
    tab.js("snapsim.page.view.reset()")


def fill(tab: Tab, selector: str, text: str) -> None:
    """Type into a field as a person would, and leave it."""
    found = f"document.querySelector({json.dumps(selector)})"
    tab.js(f"(() => {{ const e = {found}; e.focus(); e.select(); }})()")
    tab.call("Input.insertText", text=text)
    tab.press("Enter")


def test_a_bad_value_gets_one_line_beside_its_field_and_changes_nothing(tab: Tab) -> None:
    before = tab.js(STAND)
    fill(tab, ".pose input", "12 kg")
    tab.wait("document.querySelector('.pose .complaint')")
    assert "length" in tab.js("document.querySelector('.pose .complaint').innerText")
    assert tab.js("document.querySelector('.pose input').getAttribute('aria-invalid')") == "true"
    assert tab.js(STAND) == before
    fill(tab, ".pose input", "7")  # in the field's own unit
    tab.wait("!document.querySelector('.pose .complaint') && snapsim.page.pose.typed_mm[0] === 7")
    fill(tab, ".pose input", '"5 mm"')
    tab.wait("!document.querySelector('.pose .complaint') && snapsim.page.pose.typed_mm[0] === 5")


def test_a_key_of_the_scene_is_changed_and_taken_back_and_a_bad_one_refused(tab: Tab) -> None:
    tab.js("document.getElementById('tab-build').click()")
    field = "[data-key='body.disc.shape.diameter']"
    pull = tab.js("snapsim.page.pull")
    fill(tab, field, "-3 mm")
    tab.wait("document.querySelector('fieldset .complaint')")
    said = tab.js("document.querySelector('fieldset .complaint').innerText")
    assert "\n" not in said.strip()
    assert "greater" in said or "positive" in said
    assert tab.js("snapsim.page.pull") == pull
    fill(tab, field, "80 mm")
    tab.wait(f"snapsim.page.figures && snapsim.page.pull > {1.2 * pull}")
    tab.js("document.querySelector('.undo').click()")
    tab.wait(f"snapsim.page.figures && Math.abs(snapsim.page.pull / {pull} - 1) < 1e-3")
    tab.js("document.getElementById('tab-place').click()")


def test_keys_move_tilt_and_reset_the_part(tab: Tab) -> None:
    tab.js("document.querySelector('canvas').focus()")
    z = tab.js("snapsim.page.pose.typed_mm[2]")
    tab.press("ArrowUp")
    tab.wait(f"{SETTLED} && Math.abs(snapsim.page.pose.typed_mm[2] - {z} - 1) < 1e-5")
    tab.press("ArrowDown", shift=True)
    tab.wait(f"{SETTLED} && Math.abs(snapsim.page.pose.typed_mm[2] - {z} + 9) < 1e-5")
    tab.press("Home")
    tab.wait(f"{SETTLED} && snapsim.page.pose.typed_mm[2] === -60")
    turned = tab.js("snapsim.page.pose.typed_deg[1]")
    tab.press("d")
    tab.wait(f"{SETTLED} && Math.abs(snapsim.page.pose.typed_deg[1] - {turned} - 1) < 1e-5")
    tab.press("Home")
    tab.wait(f"{SETTLED} && snapsim.page.pose.typed_deg[1] === {turned}")


def test_the_keys_are_listed_in_a_dialog_that_gives_the_focus_back(tab: Tab) -> None:
    tab.js("document.querySelector('canvas').focus()")
    tab.press("?")
    tab.wait("document.activeElement.innerText.startsWith('Close')")
    tab.press("Tab")
    assert tab.js("document.activeElement.innerText").startswith("Close")
    tab.press("Escape")
    tab.wait("document.activeElement.tagName === 'CANVAS' && !document.querySelector('.sheet')")


def test_everything_that_can_be_pressed_is_reached_by_tab_and_has_a_name(tab: Tab) -> None:
    tab.js("document.activeElement.blur()")
    reached = set()
    for _ in range(60):
        tab.press("Tab")
        reached.add(tab.js("(document.activeElement.id || '') + document.activeElement.outerHTML"))
    shown = """[...document.querySelectorAll('button, input, select, canvas, summary')].filter(
      (e) => e.offsetParent && !e.disabled && e.tabIndex >= 0)"""
    assert len(reached) >= tab.js(f"{shown}.length")
    named = """(e) => e.getAttribute('aria-label') || e.innerText.trim() || e.closest('label')"""
    assert tab.js(f"{shown}.filter((e) => !({named})(e)).length") == 0
    tab.js("document.activeElement.blur()")  # a field would take the keys of the tests after it


def test_the_energy_curve_is_that_of_the_pose_and_marked_while_it_is_not(
    tab: Tab, scene: Path
) -> None:
    import numpy as np

    import snapsim
    from snapsim.landscape.constraints import Constraints
    from snapsim.landscape.energy import EnergyLandscape
    from snapsim.landscape.tilt_curve import tilt_curve

    fresh = "snapsim.page.curve && snapsim.page.curveFor === snapsim.page.poseKey"
    tab.wait(fresh, 40)
    system = snapsim.load_scene(scene)
    curve = tilt_curve(EnergyLandscape(system, 1), Constraints(system, 1))
    shown = tab.data("snapsim.page.curve")
    np.testing.assert_allclose(shown["at"], np.degrees(curve.angle), atol=1e-9)
    # solved to 1e-6 of the magnetic energy on the page
    here = float(np.interp(0.0, curve.angle, curve.energy))
    np.testing.assert_allclose(shown["energy_J"], curve.energy - here, atol=4e-6)
    tab.press("d")
    tab.wait("document.querySelector('.plot.stale')")
    assert "earlier pose" in tab.js("document.querySelector('#why').innerText")
    tab.press("Home")
    tab.wait(f"{SETTLED} && {fresh} && !document.querySelector('.plot.stale')", 40)


def test_field_lines_are_drawn_and_pale_once_the_part_has_moved(tab: Tab) -> None:
    tab.press("5")
    fresh = "snapsim.page.lines && snapsim.page.linesFor === snapsim.page.momentKey()"
    tab.wait(fresh, 40)
    ends = tab.data("snapsim.page.lines.map((l) => [l.length, Math.min(...l.map((p) => p[2]))])")
    assert len(ends) == 14
    assert all(count > 100 for count, _ in ends)
    assert min(low for _, low in ends) < -0.03  # some run down to the disc
    assert tab.js("snapsim.page.view.trails.get('lines').share") == 0.8
    tab.press("ArrowUp")
    tab.wait("snapsim.page.view.trails.get('lines').share === 0.25 || " + fresh)
    tab.press("5")
    assert not tab.js("snapsim.page.view.trails.has('lines')")
    tab.press("Home")
    tab.wait(f"{SETTLED} && snapsim.page.pose.typed_mm[2] === -60")


def test_release_by_key_then_scrub_pause_and_layers(tab: Tab) -> None:
    tab.js("document.querySelector('canvas').focus()")  # on a button the space bar would press it
    tab.press("r")
    tab.wait("snapsim.page.releasing || snapsim.page.record")
    tab.wait("snapsim.page.record && snapsim.page.mode === 'play'", 60)
    tab.press(" ")
    tab.wait("!snapsim.page.playing")
    end = tab.js("snapsim.page.record.end")
    assert end == pytest.approx(0.06, abs=1e-6)
    tab.js("snapsim.page.seek(0.03)")
    height = tab.js("snapsim.page.view.poses[snapsim.page.part].position[2]")
    tab.press(".", shift=True)
    assert tab.js("snapsim.page.time") == pytest.approx(0.03 + 10 * end / 500)
    assert tab.js("snapsim.page.view.poses[snapsim.page.part].position[2]") != height
    tab.press("3")
    assert tab.js("snapsim.page.view.trails.has('trail')") is False
    tab.press("3")
    assert tab.js("snapsim.page.view.trails.has('trail')") is True


def test_the_run_file_that_is_saved_holds_the_run_that_is_shown(
    tab: Tab, browser: Chromium
) -> None:
    import snapsim

    tab.js("snapsim.page.saveRun()")
    path = browser.downloads / "disc.h5"
    for _ in range(300):
        if path.exists():
            break
        time.sleep(0.05)
    run = snapsim.read_run(path)
    shown = tab.js("snapsim.page.record.poses(0.03).find((p) => p.index === 1).position")
    from snapsim.render.interpolation import sample

    assert shown == pytest.approx(sample(run, 0.03).position[1].tolist(), abs=1e-7)  # float32
    assert tab.js("snapsim.page.record.summary.simulated_s") == run.time[-1]


def test_the_page_of_a_run_is_saved_and_a_clip_begun_and_cancelled(
    tab: Tab, browser: Chromium
) -> None:
    tab.js("snapsim.page.savePage()")
    path = browser.downloads / "disc.html"
    for _ in range(600):
        if path.exists():
            break
        tab.js("0")
        time.sleep(0.05)
    assert "<title>Steel disc tilted under a block magnet (invented)</title>" in path.read_text()
    tab.js("snapsim.page.saveClip()")
    tab.wait("snapsim.page.drawing && snapsim.page.drawing.word.startsWith('frame')", 40)
    tab.js("snapsim.page.stopJob(snapsim.page.drawing)")
    tab.wait("!snapsim.page.drawing")


def test_a_picture_is_saved_with_the_caution_in_it(tab: Tab, browser: Chromium) -> None:
    from PIL import Image

    tab.js("document.querySelector('canvas').focus()")
    tab.press("p")
    path = browser.downloads / "disc.png"
    for _ in range(300):
        if path.exists() and path.stat().st_size:
            break
        tab.js("0")
        time.sleep(0.05)
    with Image.open(path) as picture:
        assert max(picture.size) in (1920, 3840)  # however small the window
        x, y = tab.data("snapsim.page.view.project(snapsim.page.labels[0].point).slice(0, 2)")
        k = picture.width / tab.js("snapsim.page.view.canvas.clientWidth")
        box = [int(k * c + way) for way in (-60, 60) for c in (x, y)]
        spot = picture.convert("L").crop(tuple(box))
        assert spot.getextrema()[0] < 60 < 200 < spot.getextrema()[1]  # a label, light on dark
        low = picture.convert("L").crop((0, picture.height - 40, picture.width, picture.height))
        assert low.getextrema()[1] - low.getextrema()[0] > 120  # words on the backdrop


def test_a_reload_finds_the_run_and_the_pose_again(tab: Tab) -> None:
    name = tab.js("sessionStorage.getItem('snapsim-tab')")
    tab.press("Escape")
    tab.wait("snapsim.page.mode === 'place'")
    tab.press("ArrowUp")
    tab.wait(SETTLED)
    place = tab.js(STAND)
    tab.js("window.gone = true")
    tab.call("Page.reload")
    tab.wait(f"!window.gone && {READY} && snapsim.page.runs.length === 1")
    assert tab.js("sessionStorage.getItem('snapsim-tab')") == name
    assert tab.js(STAND) == place
    tab.js("snapsim.page.undo()")  # later tests begin from the scene as it was
    tab.wait("snapsim.page.changed.length === 0 && snapsim.page.figures")


def test_a_connection_that_breaks_comes_back_by_itself_with_the_same_scene(
    browser: Chromium, served: Served
) -> None:
    made = browser.open()
    made.call("Page.addScriptToEvaluateOnNewDocument", source=KEEP_SOCKETS)
    made.go(served.address)
    made.wait(READY)
    made.js("document.querySelector('canvas').focus()")
    made.press("PageUp", shift=True)
    made.wait(f"{SETTLED} && snapsim.page.pose.typed_mm[1] === 10")
    made.js("window.gone = true; window.sockets.forEach((s) => s.close()); 0")
    made.wait("window.gone && document.querySelector('.lost')")
    said = made.js("document.querySelector('.lost').innerText")
    assert "Trying again" in said
    assert "gone" not in said
    made.wait(f"!window.gone && {READY}")
    assert made.data("snapsim.page.pose.typed_mm")[1] == 10
    made.close()


def test_a_reload_during_a_run_finds_it_again(tab: Tab) -> None:
    tab.js("snapsim.page.put('run.duration', '300 ms')")
    tab.wait("snapsim.page.changed.length === 1")
    before = tab.js("snapsim.page.runs.length")
    tab.js("snapsim.page.release().then(() => 0)")
    tab.wait("snapsim.page.releasing")
    tab.js("window.gone = true")
    tab.call("Page.reload")
    tab.wait(f"!window.gone && {READY}")
    tab.wait(f"snapsim.page.runs.length === {before + 1} && snapsim.page.mode === 'play'", 60)
    assert 0.06 < tab.js("snapsim.page.record.end") <= 0.3
    tab.press("Escape")
    tab.js("snapsim.page.put('run.duration', null)")
    tab.wait("snapsim.page.changed.length === 0 && snapsim.page.mode === 'place'")


def test_a_release_is_cancelled_by_key(tab: Tab) -> None:
    for key, value in (("run.duration", "300 ms"), ("run.detail", "normal")):  # long enough
        tab.js(f"snapsim.page.put('{key}', '{value}')")
    tab.wait("snapsim.page.changed.length === 2 && snapsim.page.figures")
    tab.js("document.querySelector('canvas').focus()")
    before = tab.js("snapsim.page.runs.length")
    tab.press("r")
    tab.wait("snapsim.page.releasing")
    tab.press("Escape")
    tab.wait("!snapsim.page.releasing")
    assert tab.js("snapsim.page.runs.length") == before
    releases = tab.data("snapsim.page.jobs.filter((j) => j.kind === 'release')")
    assert releases[-1]["state"] == "cancelled"
    for key in ("run.duration", "run.detail"):
        tab.js(f"snapsim.page.put('{key}', null)")
    tab.wait("snapsim.page.changed.length === 0 && snapsim.page.figures")


def test_what_is_being_typed_is_not_taken_away_when_the_page_changes(tab: Tab) -> None:
    field = "document.querySelector('.pose input')"
    tab.js(f"(() => {{ const e = {field}; e.focus(); e.select(); }})()")
    tab.call("Input.insertText", text="1")
    tab.js("snapsim.page.pose = {...snapsim.page.pose, typed_mm: [7, 0, 0]}, 0")
    tab.js("new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(done)))")
    tab.call("Input.insertText", text="2 mm")
    assert tab.js(f"{field}.value") == "12 mm"
    tab.press("Enter")
    tab.wait(f"{SETTLED} && snapsim.page.pose.typed_mm[0] === 12")
    tab.js("document.querySelector('canvas').focus()")
    tab.press("Home")
    tab.wait(f"{SETTLED} && snapsim.page.pose.typed_mm[0] === 0")
    tab.wait(f"{field}.value === '0 mm'")


def test_a_gap_is_typed(tab: Tab) -> None:
    fill(tab, "[aria-describedby='c-gap']", "25 mm")
    tab.wait(f"{SETTLED} && Math.abs(snapsim.page.figures.gap_m - 0.025) < 1e-8")
    fill(tab, "[aria-describedby='c-gap']", "-1 mm")
    tab.wait("document.querySelector('#c-gap')")
    assert "0 mm or more" in tab.js("document.querySelector('#c-gap').innerText")
    tab.js("document.querySelector('canvas').focus()")
    tab.press("Home")
    tab.wait(f"{SETTLED} && snapsim.page.pose.typed_mm[2] === -60")


def test_two_tabs_have_a_scene_each(tab: Tab, opened: Open) -> None:
    other = opened()
    assert other.js("snapsim.page.runs.length") == 0
    here = tab.js(STAND)
    other.js("document.querySelector('canvas').focus()")
    other.press("PageUp", shift=True)
    other.wait(f"{SETTLED} && snapsim.page.pose.typed_mm[1] === 10")
    assert tab.js("snapsim.page.call('look').then((a) => JSON.stringify(a.pose.typed_mm))") == here


@pytest.mark.parametrize("wrong", ["", "0123456789abcdef0123456789abcdef/"])
def test_a_wrong_or_missing_token_gets_a_plain_page(
    browser: Chromium, served: Served, wrong: str
) -> None:
    root = served.address.rsplit("/", 2)[0]
    made = browser.open(f"{root}/{wrong}")
    made.wait("document.body && document.body.innerText.includes('not complete')")
    assert made.js("document.scripts.length") == 0
    made.close()


def test_two_runs_are_compared_by_ghost_curve_and_table(tab: Tab) -> None:
    tab.js("document.querySelector('canvas').focus()")
    for count in (1, 2):
        if tab.js("snapsim.page.runs.length") < count:
            tab.js("snapsim.page.place()")
            tab.press("r")
            tab.wait(f"snapsim.page.runs.length === {count} && snapsim.page.mode === 'play'", 60)
    tab.js("snapsim.page.place()")  # comparing shows a run again
    number = "snapsim.page.runs.find((r) => r.number !== snapsim.page.shown).number"
    tab.js(f"snapsim.page.chooseCompare({number}), 0")
    tab.wait("snapsim.page.other && snapsim.page.mode === 'play'")
    tab.wait("snapsim.page.view.ghosts.has('other')")
    tab.wait("document.querySelectorAll('.runplot path').length === 2")
    assert tab.js("document.querySelectorAll('.runs:not(.blows) thead th').length") == 3
    tab.js("snapsim.page.chooseCompare(null), 0")
    tab.wait("!snapsim.page.view.ghosts.has('other')")


def test_two_runs_stand_side_by_side_on_one_clock_under_what_differs(tab: Tab) -> None:
    tab.js("snapsim.page.place(); snapsim.page.typePose('about_y', '41').then(() => 0)")
    tab.wait("snapsim.page.pose.typed_deg[1] === 41")
    tab.js("document.querySelector('canvas').focus()")
    count = tab.js("snapsim.page.runs.length")
    tab.press("r")
    tab.wait(f"snapsim.page.runs.length === {count + 1} && snapsim.page.mode === 'play'", 60)
    tab.js("snapsim.page.chooseCompare(snapsim.page.runs[0].number), 0")
    tab.wait("snapsim.page.other")
    tab.press("t")
    tab.wait("snapsim.page.besides && snapsim.page.view2 && snapsim.page.titles[0].words")
    words = tab.data("snapsim.page.titles.map((t) => t.words)")
    assert len(set(words)) == 2  # the keys in which they differ, each with its own value
    shown = "[...document.querySelectorAll('.apart')].map((e) => e.innerText)"
    assert all(w in s for w, s in zip(words, tab.data(shown), strict=True))
    for moment in (0.01, 0.03):
        tab.js(f"snapsim.page.seek({moment})")
        same = f"snapsim.page.other.poses({moment})[0].position"
        assert tab.data("snapsim.page.view2.poses[1].position") == tab.data(same)
    tab.js("snapsim.page.view2.orbit(40, 0)")  # one eye sees both
    tab.wait("snapsim.page.view.camera.azimuth === snapsim.page.view2.camera.azimuth")
    widths = tab.data("[snapsim.page.view, snapsim.page.view2].map((v) => v.canvas.clientWidth)")
    assert abs(widths[0] - widths[1]) <= 2
    assert tab.data("snapsim.page.view.ghosts.has('other')") is False
    tab.press("t")
    tab.wait("snapsim.page.view.ghosts.has('other')")
    tab.js("snapsim.page.chooseCompare(null), 0")


def test_nothing_was_complained_of(tab: Tab) -> None:
    assert tab.errors == []


NARROW = """(() => {
  const all = [...document.querySelectorAll('button, input, select, summary')];
  const low = (e) => e.checkVisibility() && e.getBoundingClientRect().height < 43.9;
  return all.filter((e) => low(e) && e.type !== 'range').map((e) => e.outerHTML.slice(0, 80));
})()"""
COVERED = """(() => {
  const found = [];
  for (const e of document.querySelectorAll('button, input, select, summary')) {
    if (!e.checkVisibility()) continue;
    e.scrollIntoView({ block: 'nearest', inline: 'nearest' });
    const b = e.getBoundingClientRect(), x = b.left + b.width / 2, y = b.top + b.height / 2;
    const top = document.elementFromPoint(x, y);
    if (!top || !(e.contains(top) || top.contains(e))) found.push(e.outerHTML.slice(0, 80));
  }
  return found; })()"""


@pytest.mark.parametrize("size", [(390, 844), (1024, 768)])
def test_on_a_small_screen_all_can_be_pressed_and_nothing_is_covered(
    opened: Open, size: tuple[int, int]
) -> None:
    small = opened(size)
    small.resize(*size, mobile=size[0] < 800)
    small.call("Emulation.setTouchEmulationEnabled", enabled=True)
    small.wait("snapsim.page.verdict", 60)
    for panel in ("place", "build", "runs"):
        small.js(f"document.getElementById('tab-{panel}').click()")
        small.js("snapsim.page.$nextTick().then(() => 0)")
        assert small.js(NARROW) == []
        assert small.js(COVERED) == []
    assert small.js("document.documentElement.scrollWidth") <= size[0]
