"""Studies from the page: what the terminal says of the same scene, cancelled and complained of."""

from __future__ import annotations

import os
import time
from pathlib import Path
from typing import Any

import pytest

from snapsim.errors import InputError
from snapsim.page.jobs import Cancelled
from snapsim.page.study_jobs import study_work

SCENES = Path(__file__).parents[2] / "scenarios"


def given(tmp_path: Path, what: str, **more: str) -> dict[str, Any]:
    text = (SCENES / "bearing-ball.toml").read_text(encoding="utf-8")
    asked = {"first": "", "second": "", "study": ""} | more
    return asked | {"what": what, "text": text, "part": "ball", "folder": str(tmp_path / "one")}


def test_a_bad_key_gets_the_terminals_line_without_a_folder_that_nobody_knows(
    tmp_path: Path,
) -> None:
    spans = {"first": "body.nobody.position.x=1..2 mm", "second": "body.ball.position.z=20..40 mm"}
    with pytest.raises(InputError) as told:
        study_work(given(tmp_path, "fates", **spans), lambda share, word: None)
    assert "nobody" in str(told.value)
    assert str(tmp_path) not in str(told.value)


def test_a_cancelled_study_ends_its_process(tmp_path: Path) -> None:
    words: list[str] = []

    def report(share: float, word: str) -> None:
        words.append(word)
        if len(words) == 3:
            raise Cancelled

    with pytest.raises(Cancelled):
        study_work(given(tmp_path, "rests"), report)
    assert words[-1].startswith("rests")
    time.sleep(0.1)
    left = [p for p in Path("/proc").glob("[0-9]*/cmdline") if _of(p, str(tmp_path))]
    assert os.name != "posix" or left == []


def _of(path: Path, folder: str) -> bool:
    try:
        return folder.encode() in path.read_bytes()
    except OSError:
        return False
