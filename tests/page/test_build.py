"""Building a scene in a real browser: begin, add, change, undo, text, save, reload, restart."""

from __future__ import annotations

import json
import socket
import time
import tomllib
from collections.abc import Callable
from pathlib import Path

from chromium import READY, Chromium, Served, Tab
from conftest import SCENE

Open = Callable[..., Tab]
NAMES = "snapsim.page.bodies.map((b) => b.name)"


def click(tab: Tab, selector: str) -> None:
    """Press something where it is seen, with the mouse."""
    found = f"document.querySelector({json.dumps(selector)})"
    tab.js(f"{found}.scrollIntoView({{ block: 'center' }})")
    x, y = tab.data(
        f"(() => {{ const b = {found}.getBoundingClientRect();"
        " return [b.left + b.width / 2, b.top + b.height / 2]; })()"
    )
    tab.mouse("mouseMoved", x, y)
    tab.mouse("mousePressed", x, y, held=True)
    tab.mouse("mouseReleased", x, y)


def choose(tab: Tab, selector: str, value: str) -> None:
    """Choose an option as the browser reports it."""
    found = f"document.querySelector({json.dumps(selector)})"
    tab.js(f"{found}.value = {json.dumps(value)}; {found}.dispatchEvent(new Event('change'))")


def fill(tab: Tab, selector: str, text: str) -> None:
    """Type over all that stands in a field."""
    found = f"document.querySelector({json.dumps(selector)})"
    tab.js(f"(() => {{ const e = {found}; e.focus(); e.select(); }})()")
    tab.call("Input.insertText", text=text)


def test_a_scene_is_built_from_nothing_changed_undone_and_saved(
    opened: Open, browser: Chromium
) -> None:
    tab = opened((1000, 860))
    click(tab, "#tab-build")
    choose(tab, "[aria-label='begin with']", "")
    click(tab, ".pair button")
    tab.wait("snapsim.page.title === 'New scene'")
    for kind in ("part", "hand", "string"):
        choose(tab, "[aria-label='what to add']", kind)
        before = tab.js("snapsim.page.pose.undo")
        click(tab, ".pair:nth-of-type(3) button")
        tab.wait(f"snapsim.page.pose.undo === {before + 1}")
    assert tab.data(NAMES) == ["magnet", "disc", "table", "part"]
    assert tab.js("snapsim.page.partName") == "part"
    assert tab.js("snapsim.page.figures === null || !snapsim.page.figures.overlap")
    diameter = "[data-key='body.part.shape.diameter']"
    fill(tab, diameter, "40")
    tab.press("Enter")
    tab.wait(f"document.querySelector(\"{diameter}\").value === '40 mm'")
    fill(tab, diameter, "1e9 m")
    tab.press("Enter")
    tab.wait("document.querySelector('fieldset .complaint')")
    assert tab.js(f'document.querySelector("{diameter}").value') == "1e9 m"  # stays in its field
    tab.js("document.querySelector('canvas').focus()")
    tab.call("Input.dispatchKeyEvent", type="keyDown", key="z", modifiers=2)
    tab.wait("snapsim.page.toml.includes('diameter = \"60 mm\"') && snapsim.page.pose.redo === 1")
    tab.call("Input.dispatchKeyEvent", type="keyDown", key="z", modifiers=10)
    tab.wait("snapsim.page.toml.includes('diameter = \"40 mm\"')")
    tab.js("snapsim.page.saveScene()")
    path = browser.downloads / "scene.toml"
    for _ in range(100):
        if path.exists() and path.stat().st_size:
            break
        time.sleep(0.05)
    saved = tomllib.loads(path.read_text())
    assert [b["name"] for b in saved["body"]] == ["magnet", "disc", "table", "part"]
    assert saved["hand"][0]["body"] == "magnet"
    assert saved["joint"][0]["between"] == ["part", "world"]


def test_the_text_is_taken_both_ways_and_a_bad_one_stays_to_be_mended(opened: Open) -> None:
    tab = opened((1000, 860))
    click(tab, "#tab-build")
    tab.js("document.querySelector('#panel-build details').open = true")
    good = tab.js("snapsim.page.toml").replace("60 mm", "70 mm").replace("[run]", "[runs]")
    fill(tab, ".toml", good)
    tab.js("snapsim.page.takeToml().then(() => 0)")
    tab.wait("document.querySelector('.toml').getAttribute('aria-invalid') === 'true'")
    assert tab.js("document.querySelector('.toml').value") == good
    assert "60 mm" in tab.js("snapsim.page.toml")
    fill(tab, ".toml", good.replace("[runs]", "[run]"))
    tab.js("snapsim.page.takeToml().then(() => 0)")
    diameter = "[data-key='body.disc.shape.diameter']"
    tab.wait(f"document.querySelector(\"{diameter}\").value === '70 mm'")


def test_a_scene_that_was_not_saved_comes_back_after_the_server_ended(
    browser: Chromium, tmp_path: Path
) -> None:
    scene = tmp_path / "disc.toml"
    scene.write_text(SCENE)
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = str(probe.getsockname()[1])
    first = Served(scene, "--port", port)
    tab = browser.open(first.address, (1000, 860))
    tab.wait(READY)
    tab.js("snapsim.page.editOne('duplicate', 'disc').then(() => 0)")
    tab.wait("snapsim.page.bodies.length === 4")
    first.close()
    tab.wait("document.querySelector('.lost button')")  # what the window still holds can be saved
    second = Served(scene, "--port", port)
    try:
        tab.go(second.address)
        tab.wait(f"{READY} && snapsim.page.kept")
        click(tab, ".keptscene button")
        tab.wait("snapsim.page.bodies.length === 4 && !document.querySelector('.keptscene')")
        assert tab.data(NAMES)[-1] == "disc 2"
    finally:
        tab.close()
        second.close()
