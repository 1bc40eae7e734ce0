"""What is installed: the program, what its results rest on, and which extras are there."""

from __future__ import annotations

import platform
from collections.abc import Mapping
from importlib.metadata import PackageNotFoundError, version
from importlib.util import find_spec
from typing import Final

from snapsim.extras import EXTRAS

MATTERING: Final = ("numpy", "scipy", "numba", "h5py", "pydantic", "matplotlib")
"""What results and figures rest on."""


def version_lines() -> list[str]:
    """Return "snapsim 0.1.0", what it runs on, the extras and where it keeps compiled kernels."""
    from snapsim import __version__
    from snapsim.numerics.kept_files import kept_folder

    core = ", ".join(f"{name} {_version(name)}" for name in MATTERING)
    return [
        f"snapsim {__version__}",
        f"Python {platform.python_version()}, {platform.system()} {platform.machine()}",
        core,
        *(f"[{extra}] {_extra(libraries)}" for extra, libraries in EXTRAS.items()),
        f"what can be computed again is kept in {kept_folder('operators') or 'no folder'}",
    ]


def _extra(libraries: Mapping[str, str]) -> str:
    there = {package: find_spec(imported) is not None for imported, package in libraries.items()}
    return ", ".join(f"{name} {_version(name)}" if there[name] else f"no {name}" for name in there)


def _version(package: str) -> str:
    try:
        return version(package)
    except PackageNotFoundError:
        return "of unknown version"
