"""Two versions and more beside each other: what is built, and what starting them costs.

    python tests/benchmarks/versions.py [--runs 1] [--compiled] [--in DIR] [--commands NAME ...] \
        COMMIT ...

Counts of the source (`tests/house`), bytes of the installation (the package and all that it asks
for, as installed here), seconds of processor time of every command (`start_up`) and of the first
use: a release with nothing compiled, less the same again. All in one run, a command of one version
right after that of the other, so that a busy machine is as busy for both. Needs what any of the
versions imports. Nothing is judged.
"""

from __future__ import annotations

import argparse
import importlib.util
import os
import re
import subprocess
import sys
import tempfile
import tomllib
from collections.abc import Iterable, Iterator
from importlib.metadata import PackageNotFoundError, distribution
from itertools import chain
from pathlib import Path
from types import ModuleType

HERE = Path(__file__).resolve().parent
Row = tuple[str, list[str]]


def main() -> None:
    """Print a Markdown table, a column a version."""
    parser = argparse.ArgumentParser(description="Versions beside each other.")
    parser.add_argument("commits", nargs="+", metavar="COMMIT")
    parser.add_argument("--runs", type=int, default=1, help="the least of so many, after a first")
    parser.add_argument("--commands", nargs="*", metavar="NAME", help="only these of start_up")
    parser.add_argument(
        "--compiled", action="store_true", help="use the user's cache, and leave the first use out"
    )
    parser.add_argument(
        "--in", dest="folder", type=Path, metavar="DIR",
        help="keep versions and what they compile here; where they are, only commands are timed",
    )  # fmt: skip
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        root = (given.folder or Path(folder)).resolve()
        fresh = not all((root / commit).exists() for commit in given.commits)
        trees = [unpacked(commit, root / commit) for commit in given.commits]
        show("", given.commits)
        rows = [counts(trees), sizes(trees)] if fresh else []
        if fresh and not given.compiled:
            for tree in trees:
                (tree / "kept").mkdir(exist_ok=True)
            rows.append(first_use(trees))
        for name, values in chain(*rows, commands(trees, given.runs, given.commands)):
            show(name, values)


def show(name: str, values: list[str]) -> None:
    """Print one row at once: the next may take minutes."""
    print(f"| {name} | {' | '.join(values)} |", flush=True)
    if not name:
        print(f"|---{'|---:' * len(values)}|", flush=True)


def unpacked(commit: str, folder: Path) -> Path:
    """Write a version's files into a folder: nothing compiled is among them."""
    if folder.exists():
        return folder
    folder.mkdir(parents=True)
    archive = subprocess.Popen(
        ["git", "archive", commit], cwd=HERE.parents[1], stdout=subprocess.PIPE
    )
    subprocess.run(["tar", "-x"], cwd=folder, stdin=archive.stdout, check=True)
    return folder


def counts(trees: list[Path]) -> Iterable[Row]:
    """What `tests/house` counts, by this version's rules for all."""
    house = loaded(HERE.parent / "house" / "house.py")
    tables = [dict(house.table(house.Source(tree))) for tree in trees]
    return [(name, [str(table[name]) for table in tables]) for name in tables[0]]


def sizes(trees: list[Path]) -> Iterable[Row]:
    """Megabytes of the package and of what it asks for, directly and indirectly."""
    found = []
    for tree in trees:
        project = tomllib.loads((tree / "pyproject.toml").read_text())["project"]
        own = sum(p.stat().st_size for p in (tree / "snapsim").rglob("*") if p.is_file())
        packages = needed(project["dependencies"])
        found.append(f"{(own + sum(map(installed, packages))) / 1e6:.0f} ({len(packages)})")
    return [("installed, MB (packages)", found)]


def needed(asked: list[str]) -> list[str]:
    """The names of distributions asked for and of those that they ask for, extras left out."""
    found: list[str] = []
    for requirement in (waiting := list(asked)):
        name = re.split(r"[^A-Za-z0-9._-]", requirement, maxsplit=1)[0]
        name = re.sub(r"[-_.]+", "-", name).lower()
        if name in found or "extra ==" in requirement:
            continue
        try:
            waiting += distribution(name).requires or []
        except PackageNotFoundError:  # for another system
            continue
        found.append(name)
    return found


def installed(name: str) -> int:
    """Bytes of a distribution's files."""
    files = [Path(str(f.locate())) for f in distribution(name).files or []]
    return sum(f.stat().st_size for f in files if f.is_file())


def first_use(trees: list[Path]) -> Iterable[Row]:
    """Processor time of a release with nothing kept, less that of the next."""
    start_up = loaded(HERE / "start_up.py")
    found = []
    for tree in trees:
        with tempfile.TemporaryDirectory() as folder:
            choose(tree)
            start_up.prepare(Path(folder), list(start_up.COMMANDS))
            first, second = (start_up.seconds(["release", "scene.toml"], folder)[0] for _ in "ab")
            found.append(f"{first - second:.0f}")
    return [("first use of release, CPU s", found)]


def commands(trees: list[Path], runs: int, chosen: list[str] | None) -> Iterator[Row]:
    """Processor time of every command, the least of `runs` after a first."""
    start_up = loaded(HERE / "start_up.py")
    with tempfile.TemporaryDirectory() as folder:
        places = [Path(folder) / str(k) for k in range(len(trees))]
        names = [n for n in start_up.COMMANDS if chosen is None or n in chosen]
        for tree, place in zip(trees, places, strict=True):
            place.mkdir()
            choose(tree)
            start_up.prepare(place, names)
        for name in names:
            times: list[list[tuple[float, int]]] = [[] for _ in trees]
            for _ in range(1 + runs):
                for tree, place, taken in zip(trees, places, times, strict=True):
                    choose(tree)
                    taken.append(start_up.seconds(start_up.COMMANDS[name], str(place)))
            yield f"{name}, CPU s", [_least(taken[1:]) for taken in times]


def _least(taken: list[tuple[float, int]]) -> str:
    """The least time, and the exit status where that is not 0."""
    seconds, status = min(taken)
    return f"{seconds:.2f}" + (f" (status {status})" if status else "")


def choose(tree: Path) -> None:
    """Let commands that are started run the version in `tree`, with its own cache if it has one."""
    os.environ["PYTHONPATH"] = str(tree)
    if (tree / "kept").exists():
        os.environ["SNAPSIM_CACHE"] = str(tree / "kept")


def loaded(path: Path) -> ModuleType:
    """A script beside this one as a module."""
    made = importlib.util.spec_from_file_location(path.stem, path)
    assert made is not None
    assert made.loader is not None
    module = importlib.util.module_from_spec(made)
    sys.modules[path.stem] = module
    made.loader.exec_module(module)
    return module


if __name__ == "__main__":
    main()
