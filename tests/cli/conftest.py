"""Runs commands in this process, as a terminal user would, and small scenes for them."""

import json as json_reader
from dataclasses import dataclass

import pytest

from snapsim.analysis.json_objects import VERSIONS

FALLING = """
title = "A ball falls on a table"

[[body]]
name = "ball"
shape = { kind = "sphere", diameter = "20 mm" }
material = "aluminium"
position = "0, 0, 30 mm"

[[body]]
name = "table"
shape = { kind = "box", size = "200 x 200 x 20 mm" }
material = "oak"
position = "0, 0, -10 mm"
fixed = true

[contact]
restitution = 0.5

[run]
duration = "0.1 s"
detail = "draft"
"""


OTHERS = {
    "force": ("force-along", "force-map"),
    "margin": ("margin-against",),
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
    (tmp_path / "falling.toml").write_text(FALLING)
    return "falling.toml"
