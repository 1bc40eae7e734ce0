"""axe-core finds nothing to complain of, in whatever the page shows (npm: see .ci/run)."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

import pytest
from chromium import Chromium, Served, Tab

AXE = Path(__file__).parent / "javascript" / "node_modules" / "axe-core" / "axe.min.js"
RUN = """axe.run(document, { resultTypes: ["violations"] }).then((r) => JSON.stringify(
  r.violations.map((v) => [v.id, ...v.nodes.map((n) => n.target.join(" "))])))"""


@pytest.fixture(params=[("light", (1280, 800)), ("dark", (390, 844))], ids=["light", "dark"])
def tab(
    request: pytest.FixtureRequest, opened: Callable[..., Tab], served: Served, browser: Chromium
) -> Tab:
    if not AXE.exists():
        pytest.skip("npm --prefix tests/page/javascript install")
    scheme, size = request.param
    made = opened(size)
    feature = {"name": "prefers-color-scheme", "value": scheme}
    made.call("Emulation.setEmulatedMedia", features=[feature])
    made.js(AXE.read_text(encoding="utf-8") + "; 1")
    return made


def test_no_panel_nor_mode_breaks_a_rule_of_accessibility(tab: Tab) -> None:
    broken = {}

    def look(what: str) -> None:
        broken[what] = json.loads(tab.js(RUN))

    tab.js("document.querySelectorAll('#panel-build details').forEach((d) => (d.open = true))")
    tab.js("snapsim.page.tool = 'size'")
    tab.wait("document.querySelectorAll('.grip').length")
    look("sizes")
    tab.js(
        "snapsim.page.mesh = { name: 'a.stl', triangles: 12, size: [1, 2, 3], units: ['mm', 'm'] }"
    )
    tab.wait("document.querySelector('.meshask')")
    look("a dropped mesh")
    tab.js("snapsim.page.mesh = null; snapsim.page.tool = 'move'")
    for panel in ("place", "build", "runs", "studies"):
        tab.js(f"snapsim.page.tab = '{panel}'")
        tab.wait(f"document.getElementById('panel-{panel}').checkVisibility()")
        look(panel)
    tab.js("snapsim.page.keys = true")
    tab.wait("document.querySelector('.sheet')")
    look("keys")
    tab.js("snapsim.page.keys = false; snapsim.page.release()")
    tab.wait("snapsim.page.mode === 'play' && snapsim.page.record", 60)
    look("a run")
    tab.js("snapsim.page.startShow()")
    tab.wait("document.querySelector('.overshow')")
    look("a show")
    tab.js("snapsim.page.goShow(3)")
    tab.wait("document.querySelector('.caption') && snapsim.page.time === snapsim.page.record.end")
    tab.press("Escape")
    tab.wait("snapsim.page.showStep === -1")
    assert {k: v for k, v in broken.items() if v} == {}


def test_no_chapter_of_the_guide_breaks_a_rule_of_accessibility(tab: Tab, served: Served) -> None:
    broken = {}
    for name in ("tutorial", "limits", "keys", "none"):
        tab.go(f"{served.address}guide/{name}")
        tab.wait("document.querySelector('main h1') && document.readyState === 'complete'")
        assert tab.js("document.documentElement.scrollWidth <= innerWidth")
        tab.js(AXE.read_text(encoding="utf-8") + "; 1")
        broken[name] = json.loads(tab.js(RUN))
    assert {k: v for k, v in broken.items() if v} == {}
    tab.errors.clear()  # the browser's own line about the chapter that there is not
