"""Runs commands in this process, as a terminal user would, and small scenes for them."""

import json as json_reader
from dataclasses import dataclass
from pathlib import Path

import pytest

from snapsim.analysis.json_objects import VERSIONS

SCENES = Path(__file__).parents[1] / "scenes"

OTHERS = {
    "force": ("force-along", "force-map"),
    "margin": ("margin-against", "margin-together"),
    "materials": ("material",),
    "match": ("match-make",),
    "clip": ("still",),
}
"""Objects of a command that are not called as it is."""


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
        assert what in (self.command, *OTHERS.get(self.command, ()))
        return found


@pytest.fixture
def snap(capsys, monkeypatch, tmp_path):
    """Run `snapsim ...` inside an empty directory."""
    from snapsim.cli.entry import run

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
