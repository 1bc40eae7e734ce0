"""Rehearsing in a real browser: the hand moves by key and mouse, lets go, the run is kept."""

from __future__ import annotations

from collections.abc import Callable

from chromium import Tab

Open = Callable[..., Tab]
LIVE = "snapsim.page.$refs.live"
PART = """(() => { const p = snapsim.page, v = p.view, b = v.canvas.getBoundingClientRect(),
  [x, y] = v.project(v.poses[p.part].position); return [x + b.left, y + b.top]; })()"""


def test_a_hand_carries_the_part_lets_go_and_what_was_rehearsed_is_a_run(opened: Open) -> None:
    tab = opened()
    tab.js("snapsim.page.handLimit = '-3 N'")
    tab.js("document.querySelector('canvas').focus()")
    tab.press("h")
    tab.wait("snapsim.page.complaints.rehearse")
    assert "must be above 0" in tab.js("document.querySelector('.letgo').innerText")
    tab.js("snapsim.page.handLimit = '80'")
    tab.press("h")
    tab.wait(f"{LIVE} && !{LIVE}.starting", 60)
    assert tab.js("document.querySelector('#panel-build').checkVisibility()") is False
    z = "snapsim.page.view.poses[snapsim.page.part].position[2]"
    before = tab.js(z)
    for _ in range(3):  # away from the magnet, as a person would
        tab.press("ArrowDown", shift=True)
    tab.wait(f"{z} < {before} - 0.02", 30)
    x, y = tab.js(PART)
    tab.drag(x, y, 60, 0, steps=6)
    tab.wait("snapsim.page.rehearsed.lags.length > 0", 30)
    told = tab.data("snapsim.page.$refs.handfigures.m")
    assert told["held"]
    assert 0 < told["used"] < 1
    assert told["limit_N"] == 80
    tab.wait("snapsim.page.letGo", 60)  # by a draft release of that moment
    assert "go now" in tab.js("document.querySelector('.answer').innerText")  # snaps or not
    tab.js("document.querySelector('canvas').focus()")
    tab.press("r")
    tab.wait(f"{LIVE}.held === false", 30)
    tab.press("Escape")
    tab.wait("snapsim.page.mode === 'play' && snapsim.page.record", 60)
    assert tab.data("snapsim.page.runs.map((r) => r.name)")[-1].startswith("rehearsal")
    hand = tab.data("snapsim.page.record.summary.loads")
    assert "rehearsing hand" in str(hand)
