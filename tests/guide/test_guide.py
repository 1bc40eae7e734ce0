"""The guide: its chapters are there, what they show is accepted, and its commands run."""

import re
import shlex
import tomllib
from pathlib import Path

import pytest

from snapsim.cli.entry import _commands, run
from snapsim.footage.match_file import match_from
from snapsim.guide import CHAPTERS, chapter
from snapsim.scenario.body import BodyDescription
from snapsim.scenario.material import MaterialDescription

ROOT = Path(__file__).parents[2]
TEXTS = {name: chapter(name) for name in CHAPTERS if not name.startswith("keys")}
README = (ROOT / "README.md").read_text(encoding="utf-8")


def blocks(text, kind):
    return re.findall(rf"^```{kind}\n(.*?)^```$", text, re.MULTILINE | re.DOTALL)


def commands(text):
    """Commands of a chapter in order: lines of its shell blocks, comments left out."""
    lines = [line for block in blocks(text, "sh") for line in block.splitlines()]
    return [line for line in lines if line.startswith("snapsim ")]


def mentioned(text):
    """Commands within sentences that name an option."""
    return [m for m in re.findall(r"`snapsim ([^`]+)`", text) if " -" in m]


def test_every_chapter_has_a_heading_and_its_file():
    files = {p.stem for p in (ROOT / "snapsim" / "guide").glob("*.md")}
    assert files == set(TEXTS)
    assert all(chapter(name).startswith("# ") for name in CHAPTERS)


def _parse(line):
    name, *arguments = shlex.split(line.removeprefix("snapsim "))
    _commands().commands[name].make_context(name, arguments)


@pytest.mark.parametrize("name", TEXTS)
def test_options_that_a_chapter_names_are_there(name):
    for line in commands(TEXTS[name]):
        _parse(line)


def test_an_option_that_is_not_there_is_seen():
    with pytest.raises(Exception, match="no-such"):
        _parse("snapsim force a.toml --no-such")


@pytest.mark.parametrize("name", TEXTS)
def test_commands_in_sentences_are_there(name):
    known = _commands().commands
    for text in re.findall(r"`snapsim ([a-z]+)", TEXTS[name]):
        assert text in known
    for text in mentioned(TEXTS[name]):
        options = {o for p in known[text.split()[0]].params for o in p.opts}
        assert set(re.findall(r"(?<!\S)--?[a-z][a-z-]*", text)) <= options


@pytest.mark.parametrize("name", [*TEXTS, "README"])
def test_links_lead_somewhere(name):
    text = README if name == "README" else TEXTS[name]
    folder = ROOT if name == "README" else ROOT / "snapsim" / "guide"
    for target in re.findall(r"\]\(([^)#\s]+)\)", text):
        assert target.startswith("https://") or (folder / target).exists(), target


@pytest.mark.parametrize("text", blocks(TEXTS["how-to"], "toml"))
def test_tables_in_the_how_tos_are_accepted(text):
    document = tomllib.loads(text)
    for body in document.get("body", ()):
        BodyDescription.model_validate(body)
    for material in document.get("material", ()):
        MaterialDescription.model_validate(material)
    if "track" in document:
        match_from(document, "the how-to")
    assert document


def test_the_python_chapter_is_run_elsewhere():
    assert blocks(TEXTS["python"], "python")  # tests/notebook/test_guide_chapter.py


EXAMPLES = {
    "tutorial": ("gear-blank-falls-back",),
    "json": ("gear-blank",),
    "how-to": ("gear-blank", "gear-blank-falls-back"),
    "film": ("gear-blank",),
}
"""What a reader is told, in a sentence, to have copied before."""


@pytest.mark.longer
@pytest.mark.parametrize("name", [n for n in TEXTS if commands(TEXTS[n])])
def test_every_command_of_a_chapter_runs_in_order(name, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    for example in EXAMPLES.get(name, ()):
        assert run(["examples", example]) == 0
    for line in commands(TEXTS[name]):
        assert run(shlex.split(line)[1:]) == 0, line
