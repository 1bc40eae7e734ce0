"""Sizes drawn by mouse, finger and key, and a mesh dropped onto the stage, in a real browser."""

from __future__ import annotations

import json
from collections.abc import Callable
from typing import Any

import pytest
from chromium import Chromium, Served, Tab
from conftest import SCENE

Open = Callable[..., Tab]
GRIP = """(() => { const b = document.querySelectorAll('.grip')[%d].getBoundingClientRect();
  return [b.left + b.width / 2, b.top + b.height / 2]; })()"""
LENGTH = "snapsim.page.allGrips.disc.find((g) => g.key === 'length').value"


def sizing(tab: Tab) -> None:
    tab.js(f"snapsim.page.change('scene', 'retext', {json.dumps(SCENE)}).then(() => 0)")
    tab.wait(f"Math.abs({LENGTH} - 0.012) < 1e-9")
    tab.js("snapsim.page.tool = 'size'")
    tab.wait("document.querySelectorAll('.grip').length === 4")


def test_a_face_is_drawn_by_mouse_to_a_whole_millimetre_and_undone(opened: Open) -> None:
    tab = opened()
    sizing(tab)
    undo = tab.js("snapsim.page.pose.undo")
    at = tab.js("""(() => { const v = snapsim.page.view, b = v.canvas.getBoundingClientRect(),
      p = v.poses[1], m = snapsim.math, n = m.rotate(p.quaternion, [0, 0, 1]),
      xy = (s) => v.project(m.add(p.position, n, s)), a = xy(0), c = xy(0.02);
      return [c[0] - a[0], c[1] - a[1]]; })()""")
    x, y = tab.js(GRIP % 2)
    tab.mouse("mouseMoved", x, y)
    tab.mouse("mousePressed", x, y, held=True)
    tab.mouse("mouseMoved", x + at[0], y + at[1], held=True, shift=True)
    tab.wait("snapsim.page.view.ghosts.has('size')")
    said = tab.js("document.querySelectorAll('.grip')[2].innerText")
    assert said.endswith(" mm")
    assert "." not in said
    tab.mouse("mouseReleased", x + at[0], y + at[1], shift=True)
    tab.wait(f"{LENGTH} > 0.02")
    told = 1e3 * tab.js(LENGTH)
    assert f'length = "{said}"' in tab.js("snapsim.page.toml")
    assert told == pytest.approx(round(told), abs=1e-6)
    assert not tab.js("snapsim.page.view.ghosts.has('size')")
    assert tab.js("snapsim.page.pose.undo") == undo + 1
    tab.js("snapsim.page.undo().then(() => 0)")
    tab.wait(f"Math.abs({LENGTH} - 0.012) < 1e-9")


def test_a_face_is_drawn_by_finger_and_by_key(opened: Open) -> None:
    tab = opened((390, 844))
    sizing(tab)
    tab.js("document.querySelector('.stagebox').scrollIntoView()")
    x, y = tab.js(GRIP % 2)
    tab.fingers("touchStart", (x, y))
    tab.fingers("touchMove", (x + 30, y))
    tab.fingers("touchEnd")
    tab.wait(f"Math.abs({LENGTH} - 0.012) > 1e-4")
    now = tab.js(LENGTH)
    tab.js("document.querySelectorAll('.grip')[2].focus()")
    for _ in range(5):  # quicker than the server answers: none is lost
        tab.press("ArrowUp", shift=True)
    tab.wait(f"Math.abs({LENGTH} - {now} - 0.005) < 1e-9")


def drop(tab: Tab, name: str, text: str) -> None:
    tab.js(f"snapsim.page.takeFiles([new File([{json.dumps(text)}], {json.dumps(name)})])")


def cube(side: float) -> str:
    corners = [(x, y, z) for x in (0, side) for y in (0, side) for z in (0, side)]
    faces = ["1 3 4 2", "5 6 8 7", "1 2 6 5", "3 7 8 4", "1 5 7 3", "2 4 8 6"]
    return "".join(f"v {x} {y} {z}\n" for x, y, z in corners) + "".join(f"f {f}\n" for f in faces)


def test_a_dropped_mesh_is_asked_for_its_unit_and_bad_files_are_one_line(
    opened: Open, served: Served, browser: Chromium
) -> None:
    tab = opened()
    complaint = "snapsim.page.complaints.mesh"
    for name, text, wanted in (
        ("a.txt", "x", "neither a scene"),
        ("a.stl", "nothing", "an STL file has at least 84"),
        ("a.obj", "v 0 0 0\n", "a.obj"),
        ("big.obj", cube(1) * 500, "at most 5000"),
    ):
        drop(tab, name, text)
        tab.wait(f"({complaint} || '').includes({json.dumps(wanted)})")
        assert "\n" not in tab.js(complaint)
        assert tab.js("snapsim.page.mesh === null")
    drop(tab, "part.obj", cube(12))
    tab.wait("document.querySelector('.meshask')")
    assert "12 × 12 × 12 mm" in tab.js("document.querySelector('.meshask').innerText")
    assert tab.js("document.querySelector('.meshask button').disabled")
    tab.press(" ")  # the first unit is focused
    tab.wait("snapsim.page.meshUnit === 'mm'")
    tab.press("Enter")
    tab.wait("snapsim.page.partName === 'part' && snapsim.page.mesh === null")
    assert 'file = "part.obj"' in tab.js("snapsim.page.toml")
    kept: Any = tab.data("JSON.parse(localStorage.getItem('snapsim-unsaved'))")
    assert list(kept["meshes"]) == ["part.obj"]  # comes back with the scene after the server ended
    other = browser.open(served.address)
    other.wait("snapsim.page && snapsim.page.kept")
    other.js("snapsim.page.takeKept().then(() => 0)")
    other.wait("snapsim.page.bodies.some((b) => b.name === 'part')")
    other.wait("snapsim.page.figures")
    assert other.errors == []
    for one in (other, tab):
        one.js("localStorage.removeItem('snapsim-unsaved')")
    other.close()
