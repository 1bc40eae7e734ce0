"""The file of licences names what an installation brings, and nothing of it binds who links it."""

import importlib.util
import re
import tomllib
from pathlib import Path

import pytest

SPEC = importlib.util.spec_from_file_location("licences", Path(__file__).with_name("licences.py"))
licences = importlib.util.module_from_spec(SPEC)
SPEC.loader.exec_module(licences)

LISTED = {
    match[1]: match[2]
    for match in re.finditer(
        r"^([a-z0-9-]+) \S+: ([^\[\n]*)", licences.TARGET.read_text(encoding="utf-8"), re.MULTILINE
    )
}
PROJECT = tomllib.loads((licences.ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
EXTRAS = [r for extra in licences.EXTRAS for r in PROJECT["optional-dependencies"][extra]]


@pytest.mark.parametrize(
    "requirement", [r for r in PROJECT["dependencies"] + EXTRAS if not r.startswith("snapsim[")]
)
def test_each_dependency_is_listed_with_a_licence(requirement):
    name = licences.canonical(re.match(r"[\w.-]+", requirement)[0])
    assert LISTED[name].strip()


def test_what_is_listed_is_what_the_packages_here_say():
    here = licences.needed(PROJECT["dependencies"] + EXTRAS)
    told = {name: licences.licence(package) for name, package in here.items()}
    differing = {n: (LISTED.get(n), says) for n, says in told.items() if n in LISTED}
    assert all(a.strip() == b for a, b in differing.values()), "run tests/house/licences.py again"
    assert len(differing) > 50


def test_nothing_that_an_installation_brings_is_left_out():
    here = licences.needed(PROJECT["dependencies"] + EXTRAS)
    assert not set(here) - set(LISTED), "run tests/house/licences.py again"
    assert not {name for name, package in here.items() if not licences.licence(package)}


def test_what_is_said_of_the_encoder_is_what_the_program_here_says(snap_licences):
    def of(text):
        return re.search(r"built with ([^.]*)\.", text)[1], re.search(r"version (\d)\s", text)[1]

    assert of(snap_licences) == of(licences.encoder())


def test_nothing_that_is_imported_is_under_a_copyleft_of_the_whole():
    assert not {n: s for n, s in LISTED.items() if re.search(r"\b[AL]?GPL", s)}


def test_the_encoder_is_told_apart(snap_licences):
    assert "--enable-gpl" in snap_licences
    assert "version 3 or later" in snap_licences
    assert "as a program of its own" in " ".join(snap_licences.split())


@pytest.fixture
def snap_licences(capsys):
    from snapsim.cli.entry import run

    assert run(["--licences"]) == 0
    return capsys.readouterr().out
