"""Studies from the page: what the terminal says of the same scene, cancelled and complained of."""

from __future__ import annotations

import os
import time
from pathlib import Path
from typing import Any

import pytest

from snapsim.errors import InputError
from snapsim.page.jobs import Cancelled
from snapsim.page.study_jobs import STOPPED, study_begun_with, study_work

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


@pytest.mark.longer
@pytest.mark.parametrize("what", ["fates", "sweep"])
def test_a_stopped_study_shows_what_it_found_and_that_it_is_not_all(
    tmp_path: Path, what: str
) -> None:
    spans = {"first": "body.ball.position.x=-10..10 mm", "second": "body.ball.position.z=25..60 mm"}
    study = study_begun_with("ball").replace("samples = 16", "samples = 64")
    stopped: list[str] = []

    def report(share: float, word: str) -> None:
        if ": " in word and not stopped:  # so many releases are done
            stopped.append(word)
            raise KeyboardInterrupt

    told = study_work(given(tmp_path, what, study=study, **spans), report)
    assert stopped
    assert told["text"].startswith(STOPPED)
    assert told["pictures" if what == "fates" else "pages"]


def _of(path: Path, folder: str) -> bool:
    try:
        return folder.encode() in path.read_bytes()
    except OSError:
        return False
