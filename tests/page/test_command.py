"""`snapsim page` at the command line: one line for what is wrong."""

from __future__ import annotations

import socket
from pathlib import Path

import pytest

from snapsim.cli.entry import run


def said(capsys: pytest.CaptureFixture[str], *arguments: str) -> tuple[int, str]:
    status = run(["page", *arguments, "--no-open"])
    text = capsys.readouterr().err
    assert text.count("\n") == 1
    return status, text


def test_what_is_wrong_is_told_in_one_line_before_anything_is_served(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, scene: Path
) -> None:
    assert "cannot be read" in said(capsys, str(tmp_path / "none.toml"))[1]
    status, text = said(capsys, str(scene), "--set", "body.disc.material=cheese")
    assert status == 2
    assert "body.disc.material" in text
    assert "goes with a run file" in said(capsys, str(scene), "-o", str(tmp_path / "a.html"))[1]
    assert "goes with a run file" in said(capsys, "-o", str(tmp_path / "a.html"))[1]
    assert ".html" in said(capsys, str(tmp_path / "a.h5"), "-o", str(tmp_path / "a.txt"))[1]


def test_a_scene_with_nothing_to_move_is_refused(
    capsys: pytest.CaptureFixture[str], scene: Path, tmp_path: Path
) -> None:
    still = tmp_path / "still.toml"
    disc, table = scene.read_text().split('name = "table"')
    still.write_text(
        disc.replace('name = "disc"', 'name = "disc"\nfixed = true') + 'name = "table"' + table
    )
    status, text = said(capsys, str(still))
    assert status == 2
    assert "no free body" in text


def test_a_port_that_is_taken_is_named(capsys: pytest.CaptureFixture[str], scene: Path) -> None:
    with socket.socket() as other:
        other.bind(("127.0.0.1", 0))
        other.listen()
        port = other.getsockname()[1]
        status, text = said(capsys, str(scene), "--port", str(port))
    assert status == 2
    assert f"{port} cannot be had" in text
