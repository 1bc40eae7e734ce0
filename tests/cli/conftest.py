"""Runs commands in this process, as a terminal user would, and small scenes for them."""

import io
import json as json_reader
import re
from collections import Counter
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from types import SimpleNamespace

import pytest
from jsonschema import Draft202012Validator
from rich.cells import cell_len
from rich.console import Console

from snapsim.analysis.json_objects import VERSIONS
from snapsim.cli import table_layout
from snapsim.guide import output_schema

WIDTHS = (60, 80, 120)
NUMBER = re.compile(r"(?<![\w.])[-+]?\d+(?:\.\d+)?(?:e[-+]?\d+)?(?![\w.])")
ELLIPSIS = chr(0x2026)

SCENES = Path(__file__).parents[1] / "scenes"

OTHERS = {
    "force": ("force-along", "force-map"),
    "margin": ("margin-against", "margin-together"),
    "materials": ("material",),
    "match": ("match-make",),
    "clip": ("still", "clip-passes"),
}
"""Objects of a command that are not called as it is."""


@cache
def schema(what):
    """The published JSON Schema of an object, as a validator."""
    found = output_schema(what)
    Draft202012Validator.check_schema(found)
    return Draft202012Validator(found)


@dataclass
class Result:
    """What a command left behind."""

    command: str
    status: int
    out: str
    err: str

    @property
    def json(self):
        """Standard output as one JSON object, and nothing else: named, with its version first."""
        found = json_reader.loads(self.out)
        assert list(found)[:2] == ["schema", "version"]
        what = found["schema"].removeprefix("snapsim ")
        assert found["version"] == VERSIONS[what]
        schema(what).validate(found)
        assert what in (self.command, "error", *OTHERS.get(self.command, ()))
        return found


def rendered(what, width):
    """What is printed at a width, as text."""
    text = io.StringIO()
    console = Console(file=text, width=width, force_terminal=False, highlight=False)
    console.print(table_layout.laid_out(what, console))
    return text.getvalue()


def assert_fits(what):
    """No line is longer than the terminal is wide, and no number is cut or broken."""
    whole = Counter(NUMBER.findall(rendered(what, 2000)))
    for width in WIDTHS:
        told = rendered(what, width)
        assert ELLIPSIS not in told
        assert max(cell_len(line.rstrip()) for line in told.splitlines()) <= width
        assert not whole - Counter(NUMBER.findall(told)), f"cut at {width} columns:\n{told}"


@pytest.fixture
def terminal():
    """How something is printed at a width, and whether it fits at all."""
    return SimpleNamespace(rendered=rendered, assert_fits=assert_fits)


@pytest.fixture(autouse=True)
def every_table_fits(monkeypatch):
    """Whatever a command prints in a test here is looked at in terminals of several widths."""

    def looked_at(what, console):
        assert_fits(what)
        return table_layout.laid_out(what, console)

    monkeypatch.setattr(table_layout, "fitted", looked_at)


@pytest.fixture
def snap(capsys, monkeypatch, tmp_path):
    """Run `snapsim ...` inside an empty directory."""
    from snapsim.cli.entry import run

    monkeypatch.delenv("COLUMNS", raising=False)  # workers of pytest-xdist are told one
    monkeypatch.chdir(tmp_path)

    def call(*arguments):
        status = run([str(a) for a in arguments])
        seen = capsys.readouterr()
        return Result(str(arguments[0]), status, seen.out, seen.err)

    return call


@pytest.fixture
def falling(tmp_path):
    """A scene file without magnets: quick to run."""
    return copied("falling.toml", tmp_path)


@pytest.fixture
def ball_under_magnet(tmp_path):
    """A scene file: a steel ball on a table, draft cells."""
    return copied("ball-under-magnet.toml", tmp_path)


def copied(name, folder):
    """Put a scene of `tests/scenes` into a folder; return its name."""
    (folder / name).write_text((SCENES / name).read_text())
    return name
