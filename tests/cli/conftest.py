"""Runs commands in this process, as a terminal user would, and small scenes for them."""

import json as json_reader
from dataclasses import dataclass

import pytest

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


@dataclass
class Result:
    """What a command left behind."""

    status: int
    out: str
    err: str

    @property
    def json(self):
        """Standard output as one JSON object, and nothing else."""
        return json_reader.loads(self.out)


@pytest.fixture
def snap(capsys, monkeypatch, tmp_path):
    """Run `snapsim ...` inside an empty directory."""
    from snapsim.cli.entry import run

    monkeypatch.chdir(tmp_path)

    def call(*arguments):
        status = run([str(a) for a in arguments])
        seen = capsys.readouterr()
        return Result(status, seen.out, seen.err)

    return call


@pytest.fixture
def falling(tmp_path):
    """A scene file without magnets: quick to run."""
    (tmp_path / "falling.toml").write_text(FALLING)
    return "falling.toml"
