"""Reading a scene file: text, TOML, then its system (`describing`, loaded once there is TOML)."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import lru_cache
from os import PathLike, fspath
from typing import TYPE_CHECKING, Any

from snapsim.scenario.text_file import read_text, toml_document

if TYPE_CHECKING:
    from snapsim.simulation.system import System


def load_scene(path: str | PathLike[str], changes: Sequence[str] = ()) -> System:
    """Read a scene file and return its system; `changes` are "key=value" what-ifs.

    Raises InputError with one line: file, key, what is wrong, what is allowed.
    """
    file = fspath(path)
    return scene_from_text(scene_text(file), file, changes)


def scene_from_text(
    text: str, file: str, changes: Sequence[str] = (), resolve: bool = True
) -> System:
    """Return the system of a scene given as TOML text; `file` only names it in errors.

    Unless `resolve`, the filled-in scene that a run file keeps is left empty.
    """
    document = _document(text, file)
    from snapsim.scenario.describing import system_of

    return replace(system_of(document, file, changes, resolve), source=text)


def scene_text(file: str) -> str:
    """Return the text of a scene file; raises InputError."""
    return read_text(file)


@lru_cache(maxsize=4)
def _document(text: str, file: str) -> dict[str, Any]:
    return toml_document(text, file)
