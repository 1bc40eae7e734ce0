"""The scenes that come with the program: where they lie, what each teaches, copies of one.

In a checkout they are its folder `scenarios`; an installed program has them beside it, where its
list of installed files says.
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache
from importlib.metadata import distributions
from os import PathLike, fspath
from pathlib import Path

from snapsim.errors import InputError, suggest

LEAF = "scenarios"
ENDINGS = (".toml", ".study.toml", ".match.toml", ".tracks.csv")
"""What belongs to one example, behind its name."""


@dataclass(frozen=True)
class Example:
    """A scene's `name`, `title`, what it `teaches`, and its `files`: the scene itself first."""

    name: str
    title: str
    teaches: str
    files: tuple[Path, ...]


@cache
def examples() -> dict[str, Example]:
    """Return all examples by name. Raises InputError where the installation has none."""
    folder = _folder()
    names = sorted(p.name.removesuffix(".toml") for p in folder.glob("*.toml"))
    return {name: _read(folder, name) for name in names if "." not in name}


def example(name: str) -> Example:
    """Return one; raises InputError for a name that none has."""
    known = examples()
    if name not in known:
        raise InputError(f'"{name}" is no example{suggest(name, known)}', key="NAME")
    return known[name]


def copies(which: Example, folder: str | PathLike[str]) -> list[tuple[Path, Path]]:
    """Return (from, to) of each file of an example, put into `folder`."""
    return [(path, Path(fspath(folder)) / path.name) for path in which.files]


def _folder() -> Path:
    here = Path(__file__).resolve().parents[2]
    if (here / "pyproject.toml").is_file() and (here / LEAF).is_dir():
        return here / LEAF
    for installed in distributions(name="snapsim"):
        for path in installed.files or ():
            if (
                path.parent.name == LEAF
                and path.suffix == ".toml"
                and Path(str(path.locate())).is_file()
            ):
                return Path(str(path.locate())).resolve().parent
    raise InputError("this installation came without its examples; install snapsim again")


def _read(folder: Path, name: str) -> Example:
    scene = tomllib.loads((folder / f"{name}.toml").read_text(encoding="utf-8"))
    teaches = " ".join(scene.get("note", "").split()).removeprefix("Teaches: ")
    there = [folder / f"{name}{ending}" for ending in ENDINGS]
    teaches = teaches[:1].upper() + teaches[1:]
    return Example(name, scene["title"], teaches, tuple(p for p in there if p.is_file()))
