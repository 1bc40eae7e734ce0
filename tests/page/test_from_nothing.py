"""From an empty page to a clip of a magnet, a disc, a table and a hand: by mouse alone, by keyboard
alone, by fingers alone. What is covered, too small or out of reach fails.

What a list drops down is drawn by the system, not by the page: a mouse and fingers choose in it by
the event that it ends in.
"""

from __future__ import annotations

import json
import time
import tomllib
from collections.abc import Callable

import av
import pytest
from chromium import Chromium, Tab

Open = Callable[..., Tab]
PATIENCE = 60.0
"""Seconds that an answer may take where others compute beside."""

MOST_TABS = 160
"""Presses of Tab from anywhere to anywhere; a page that needs more is no page for the keyboard."""


SEEN = """(() => { const e = %s; e.scrollIntoView({ block: 'center' });
  const b = e.getBoundingClientRect(), x = b.left + b.width / 2, y = b.top + b.height / 2;
  const top = document.elementFromPoint(x, y), hit = top && (e.contains(top) || top.contains(e));
  return [x, y, b.width, b.height, Boolean(hit)]; })()"""


class Pointer:
    """A mouse; what is pressed must be seen, uncovered and large enough."""

    least = 24  # px: WCAG 2.2, success criterion 2.5.8 (from memory)

    def __init__(self, tab: Tab) -> None:
        self.tab = tab

    def at(self, selector: str) -> tuple[float, float]:
        found = f"document.querySelector({json.dumps(selector)})"
        self.tab.wait(f"{found} && !{found}.disabled")
        before, now = None, self.tab.data(SEEN % found)
        while now != before:  # once nothing moves any more
            time.sleep(0.1)
            before, now = now, self.tab.data(SEEN % found)
        x, y, wide, high, hit = now
        assert hit, f"{selector} is covered"
        assert min(wide, high) >= self.least, f"{selector}: {wide} x {high} px"
        return x, y

    def press(self, selector: str) -> None:
        x, y = self.at(selector)
        self.tab.mouse("mouseMoved", x, y)
        self.tab.mouse("mousePressed", x, y, held=True)
        self.tab.mouse("mouseReleased", x, y)

    def choose(self, selector: str, value: str) -> None:
        self.press(selector)
        found = f"document.querySelector({json.dumps(selector)})"
        self.tab.js(
            f"(() => {{ const e = {found}; e.value = {json.dumps(value)};"
            " e.dispatchEvent(new Event('change')); e.blur(); })()"
        )

    def write(self, selector: str, text: str) -> None:
        self.press(selector)
        self.tab.js(f"document.querySelector({json.dumps(selector)}).select()")
        self.tab.call("Input.insertText", text=text)
        self.tab.press("Enter")


class Fingers(Pointer):
    """Fingers on a screen."""

    least = 44  # px: the page's own rule for coarse pointers

    def __init__(self, tab: Tab) -> None:
        super().__init__(tab)
        tab.call("Emulation.setTouchEmulationEnabled", enabled=True)

    def press(self, selector: str) -> None:
        x, y = self.at(selector)
        self.tab.fingers("touchStart", (x, y))
        self.tab.fingers("touchEnd")


class Keys:
    """The keyboard: Tab until the focus is there, then the keys that such a thing takes."""

    def __init__(self, tab: Tab) -> None:
        self.tab, self.tabs = tab, 0

    def reach(self, selector: str) -> None:
        here = f"document.activeElement.matches({json.dumps(selector)})"
        self.tab.wait(f"!document.querySelector({json.dumps(selector)})?.disabled")
        for _ in range(MOST_TABS):
            if self.tab.js(here):
                return
            self.tab.press("Tab")
            self.tabs += 1
        raise AssertionError(f"{selector} is not reached by {MOST_TABS} presses of Tab")

    def press(self, selector: str) -> None:
        if selector.startswith("#tab-"):  # one stop for all of them, arrows go between
            self.reach("[role='tab'][aria-selected='true']")
            for _ in range(4):
                if self.tab.js(f"document.activeElement.matches({json.dumps(selector)})"):
                    return
                self.tab.press("ArrowRight")
                self.tab.js("new Promise((next) => requestAnimationFrame(() => next(0)))")
        self.reach(selector)
        self.tab.press("Enter")

    def choose(self, selector: str, value: str) -> None:
        self.reach(selector)
        found = f"document.querySelector({json.dumps(selector)})"
        options = self.tab.data(f"[...{found}.options].map((o) => o.value)")
        now = self.tab.js(f"{found}.selectedIndex")
        steps = options.index(value) - now
        for _ in range(abs(steps)):
            self.tab.press("ArrowDown" if steps > 0 else "ArrowUp")
        assert self.tab.js(f"{found}.value") == value

    def write(self, selector: str, text: str) -> None:
        self.reach(selector)
        self.tab.press("a", modifiers=2)
        for letter in text:
            self.tab.press(letter)
        self.tab.press("Enter")


HANDS = {"mouse": Pointer, "keys": Keys, "fingers": Fingers}
BEGIN = "#panel-build .pair:nth-of-type(2) button"
ADD = "#panel-build .pair:nth-of-type(3) button"
ANGLE = "[aria-describedby='ct-y']"


def built(tab: Tab, hand: Pointer | Keys) -> None:
    """A new scene (magnet, disc, table), a hand on the magnet, the disc smaller and tilted."""
    hand.press("#tab-build")
    tab.wait("document.querySelector('#panel-build').checkVisibility()", PATIENCE)
    hand.choose("[aria-label='begin with']", "")
    hand.press(BEGIN)
    tab.wait("snapsim.page.title === 'New scene'", PATIENCE)
    hand.choose("[aria-label='what to add']", "hand")
    hand.press(ADD)
    tab.wait("snapsim.page.fastened.length === 1", PATIENCE)
    hand.write("[data-key='body.disc.shape.diameter']", "50")
    tab.wait("snapsim.page.toml.includes('50 mm')", PATIENCE)
    hand.write("[data-key='run.duration']", "0.12 s")
    tab.wait("snapsim.page.toml.includes('0.12 s')", PATIENCE)
    hand.press("#tab-place")
    tab.wait("document.querySelector('#panel-place').checkVisibility()", PATIENCE)
    hand.write(ANGLE, "25")
    tab.wait("snapsim.page.pose.typed_deg[1] === 25", PATIENCE)
    hand.press("[title^='lower the part']")
    tab.wait("snapsim.page.figures && snapsim.page.figures.touches.length", PATIENCE)


def shown(tab: Tab, hand: Pointer | Keys) -> None:
    """Let go, slowed."""
    hand.press(".release")
    tab.wait("snapsim.page.mode === 'play' && snapsim.page.record", 120)
    hand.choose("[aria-label='pace']", "0.05")
    tab.wait("snapsim.page.pace === 0.05", PATIENCE)


# by mouse all of it is pressed as by fingers, and elsewhere here: with --longer
CASES = [
    ("keys", (1024, 768)),
    ("fingers", (390, 844)),
    *(
        pytest.param(kind, size, marks=pytest.mark.longer)
        for kind in HANDS
        for size in ((1440, 900), (1024, 768), (390, 844))
    ),
]


@pytest.mark.parametrize(("kind", "size"), CASES)
def test_a_scene_is_built_released_slowed_and_filmed(
    opened: Open,
    browser: Chromium,
    kind: str,
    size: tuple[int, int],
    request: pytest.FixtureRequest,
) -> None:
    whole = request.node.get_closest_marker("longer") is not None
    tab = opened(size)
    tab.resize(*size, mobile=kind == "fingers")
    hand = HANDS[kind](tab)
    built(tab, hand)
    scene = tomllib.loads(tab.js("snapsim.page.toml"))
    assert [b["name"] for b in scene["body"]] == ["magnet", "disc", "table"]
    assert scene["hand"][0]["body"] == "magnet"
    shown(tab, hand)
    hand.press("[data-save='clip']")
    tab.wait("snapsim.page.drawing && snapsim.page.drawing.share > 0", 60)
    if not whole:
        hand.press("[data-save='clip']")  # cancelled: a whole film is for --longer
        tab.wait("!snapsim.page.drawing", PATIENCE)
    else:
        tab.wait("!snapsim.page.drawing", 300)
        film = browser.downloads / "scene.mp4"
        end = time.monotonic() + 10
        while not (film.exists() and film.stat().st_size > 10_000):
            assert time.monotonic() < end
            time.sleep(0.1)
        with av.open(str(film)) as video:  # every frame of it plays
            (stream,) = video.streams.video
            frames = sum(1 for _ in video.decode(stream))
            assert frames == stream.frames > 60
            assert (stream.width, stream.height) == (1280, 720)
        film.unlink()
    tab.js("localStorage.removeItem('snapsim-unsaved')")
