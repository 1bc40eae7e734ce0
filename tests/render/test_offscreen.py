"""Finding an off-screen OpenGL."""

import os
import sys

import pytest

from snapsim.errors import MissingSystemLibrary
from snapsim.render import ClipOptions, offscreen, render_clip


@pytest.fixture(autouse=True)
def fresh(monkeypatch):
    monkeypatch.delenv(offscreen.VARIABLE, raising=False)
    offscreen.find_window.cache_clear()
    yield
    offscreen.find_window.cache_clear()


def test_without_opengl_the_error_names_the_debian_packages(monkeypatch, trajectory, tmp_path):
    monkeypatch.setattr(offscreen, "draws", lambda window: False)
    with pytest.raises(MissingSystemLibrary, match="libegl1 and libgl1-mesa-dri.*libosmesa6"):
        render_clip(trajectory, tmp_path / "clip.mp4", ClipOptions())
    assert list(tmp_path.iterdir()) == []


@pytest.mark.skipif(sys.platform != "linux", reason="elsewhere the platform's own window is used")
def test_the_second_window_is_taken_where_the_first_does_not_draw(monkeypatch):
    monkeypatch.setattr(offscreen, "draws", lambda window: window == "vtkOSOpenGLRenderWindow")
    offscreen.require()
    assert os.environ[offscreen.VARIABLE] == "vtkOSOpenGLRenderWindow"


def test_a_child_that_dies_is_no_opengl_and_takes_nobody_along(monkeypatch):
    monkeypatch.setattr(
        offscreen, "_CHILD", "import os, signal; os.kill(os.getpid(), signal.SIGSEGV)"
    )
    assert offscreen.draws("vtkEGLRenderWindow") is False


def test_a_child_that_hangs_is_no_opengl(monkeypatch):
    monkeypatch.setattr(offscreen, "_CHILD", "import time; time.sleep(60)")
    assert offscreen.draws(None, timeout=0.3) is False
