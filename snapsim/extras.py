"""What an installation may lack: libraries that only some of the work needs, by their extra."""

from __future__ import annotations

from collections.abc import Mapping
from importlib.util import find_spec
from typing import Final

from snapsim.errors import MissingExtra

EXTRAS: Final[Mapping[str, Mapping[str, str]]] = {
    "clip": {
        "pyvista": "pyvista",
        "imageio_ffmpeg": "imageio-ffmpeg",
        "opentimelineio": "opentimelineio",
    },
    "page": {"pyvista": "pyvista", "trame": "trame"},
    "cluster": {"dask": "dask", "distributed": "distributed"},
    "export": {"pyvista": "pyvista", "pyarrow": "pyarrow", "pxr": "usd-core"},
    "step": {"cascadio": "cascadio"},
    "notebook": {"pandas": "pandas", "xarray": "xarray", "pyvista": "pyvista"},
}
"""Extras of the package: what is imported, and under which name it is installed."""


def require_extra(extra: str, what: str, *libraries: str, key: str | None = None) -> None:
    """Raise MissingExtra where `what` needs libraries of an extra (all, where none is named) that
    are not installed. Nothing is imported."""
    for library in libraries or EXTRAS[extra]:
        if find_spec(library) is None:
            raise missing(EXTRAS[extra][library], extra, what, key)


def missing(package: str, extra: str, what: str, key: str | None = None) -> MissingExtra:
    """Return the one line that says what to install."""
    return MissingExtra(
        f'{what} needs {package}, which is not installed: pip install "snapsim[{extra}]"', key=key
    )


def missing_of(error: ImportError) -> MissingExtra | None:
    """Return what to say of a failed import, where an extra would have brought the module."""
    root = (error.name or "").partition(".")[0]
    for extra, libraries in EXTRAS.items():
        if root in libraries:
            return missing(libraries[root], extra, "this")
    return None
