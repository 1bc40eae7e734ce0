"""One server and one browser for all tests of the page; both end with the tests."""

from __future__ import annotations

import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))

from chromium import READY, Chromium, Served, Tab, find_chromium

SCENE = """
title = "Steel disc tilted under a block magnet (invented)"
[[body]]
name = "magnet"
shape = { kind = "box", size = "80 x 60 x 30 mm" }
material = "NdFeB N45"
magnetised = "-z"
position = "0, 0, 15 mm"
fixed = true
[[body]]
name = "disc"
shape = { kind = "cylinder", diameter = "60 mm", length = "12 mm" }
material = "low-carbon steel"
position = "0, 0, -60 mm"
rotation = { axis = "y", angle = "75 deg" }
[[body]]
name = "table"
shape = { kind = "box", size = "400 x 300 x 30 mm" }
material = "oak"
position = "0, 0, -125 mm"
fixed = true
[run]
duration = "60 ms"
detail = "draft"
"""


@pytest.fixture(scope="session")
def scene(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("page") / "disc.toml"
    path.write_text(SCENE)
    return path


@pytest.fixture(scope="session")
def served(scene: Path) -> Iterator[Served]:
    made = Served(scene)
    yield made
    workers = made.workers()
    assert made.close() == 0
    end = time.monotonic() + 5
    while left := [w for w in workers if Path(f"/proc/{w}").exists()]:
        assert time.monotonic() < end, f"left behind: {left}"
        time.sleep(0.05)


@pytest.fixture(scope="session")
def browser() -> Iterator[Chromium]:
    if find_chromium() is None:
        pytest.skip("no Chromium here; on Debian: apt-get install chromium")
    made = Chromium()
    yield made
    made.close()


@pytest.fixture
def opened(served: Served, browser: Chromium) -> Iterator[Callable[[], Tab]]:
    """Open tabs on the page; closed afterwards, none of them with a complaint."""
    tabs: list[Tab] = []

    def open_one(size: tuple[int, int] = (1000, 860)) -> Tab:
        tab = browser.open(served.address, size)
        tabs.append(tab)
        tab.wait(READY)
        return tab

    yield open_one
    complaints = [e for tab in tabs for e in tab.errors]
    for tab in tabs:
        tab.close()
    assert complaints == []
