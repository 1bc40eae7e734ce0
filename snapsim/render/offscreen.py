"""Finding an off-screen OpenGL that works, in a process of its own.

Without one the drawing library ends the process by a segmentation fault, which nothing can catch;
so a child process draws one picture of known colour first, and only its success is trusted.
"""

from __future__ import annotations

import functools
import os
import subprocess
import sys

from snapsim.errors import MissingSystemLibrary

VARIABLE = "VTK_DEFAULT_OPENGL_WINDOW"
WINDOWS = ("vtkEGLRenderWindow", "vtkOSOpenGLRenderWindow")
ADVICE = (
    "no off-screen OpenGL works here; on Debian or Ubuntu install libegl1 and libgl1-mesa-dri "
    "(software drawing through EGL), or libosmesa6"
)

_CHILD = """
import numpy as np, pyvista as pv
plotter = pv.Plotter(off_screen=True, window_size=(16, 16), lighting="none")
plotter.set_background((0.0, 1.0, 0.0))
plotter.add_mesh(pv.Box(bounds=(9, 10, 9, 10, 9, 10)))
picture = plotter.screenshot(None, return_img=True)
assert np.asarray(picture)[0, 0].tolist() == [0, 255, 0]
"""


def draws(window: str | None, timeout: float = 60.0) -> bool:
    """Return whether a child process can draw with the render window class called `window`."""
    environment = dict(os.environ)
    if window is None:
        environment.pop(VARIABLE, None)
    else:
        environment[VARIABLE] = window
    try:
        done = subprocess.run(
            [sys.executable, "-c", _CHILD], env=environment, capture_output=True, timeout=timeout
        )
    except (OSError, subprocess.TimeoutExpired):
        return False
    return done.returncode == 0


def candidates() -> tuple[str | None, ...]:
    """Return the window classes to try, the user's own choice first."""
    chosen = os.environ.get(VARIABLE)
    if sys.platform != "linux":
        return (chosen,)  # the platform's own window is always there
    return (*([chosen] if chosen else []), *WINDOWS)


@functools.cache
def find_window() -> str | None:
    """Return a window class that draws; raises MissingSystemLibrary, which is not remembered."""
    for window in candidates():
        if draws(window):
            return window
    raise MissingSystemLibrary(ADVICE)


def require() -> None:
    """Make this process draw off screen, or raise MissingSystemLibrary naming what to install."""
    window = find_window()
    if window is not None:
        os.environ[VARIABLE] = window
