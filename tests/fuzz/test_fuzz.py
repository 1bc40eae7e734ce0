"""A seeded share of the harness, and that it notices what it is there for."""

import json

import pytest

from tests.fuzz import cases, sound
from tests.fuzz.__main__ import rounds
from tests.fuzz.faulty import FAULTY
from tests.fuzz.kinds import KINDS, random_of

SHARE = {
    "scene": 40,
    "study": 25,
    "stl": 15,
    "ply": 15,
    "obj": 15,
    "step": 3,
    "ledger": 15,
    "operator": 15,
}
SHARE |= {"line": 15, "piece": 40, "sealed": 40, "picture": 40}
"""Cases of a kind where not twenty; the long run is `python -m tests.fuzz`."""


@pytest.fixture(scope="module")
def base(tmp_path_factory):
    folder = tmp_path_factory.mktemp("sound")
    sound.make(folder)
    return folder


@pytest.fixture(scope="module")
def worker(base):
    worker = cases.Worker(base)
    yield worker
    worker.close()


@pytest.mark.parametrize("kind", KINDS)
def test_a_spoilt_file_ends_in_one_line_soon(kind, worker, tmp_path):
    numbers = range(SHARE.get(kind, 20))
    wrong = {
        f"{kind}:{number}": found
        for _, number, found in cases.run_cases(worker, [(kind, n) for n in numbers], tmp_path)
        if found["came to"] not in cases.SOUND
    }
    assert not wrong


SOUND_FILES = {
    **{
        name: name for name in ("scene.toml", "shots.toml", "limits.toml", "tracks.csv", "part.stl")
    },
    "film.mp4": "film.mp4",
    "a.study.toml": "study.toml",
    "plane.match.toml": "m.toml",
}
"""Sound files, and what a case calls them."""


KEPT = ("run", "ledger", "operator", "fates", "piece", "sealed")
"""What the program keeps, sound where it was made."""


@pytest.mark.parametrize("kind", KINDS)
def test_a_sound_file_is_read(kind, base, tmp_path):
    # cases would all be refused, and none the wiser, where the base itself were
    (tmp_path / "options.json").write_text('{"set": [], "release": false}')
    for name, target in SOUND_FILES.items():
        (tmp_path / target).write_bytes((base / name).read_bytes())
    (tmp_path / "name").write_text("film.mp4")
    calls = {"calls": [["hello", "tab"]], "head": ["/token/", "127.0.0.1:80", None]}
    (tmp_path / "calls.json").write_text(json.dumps(calls))
    (tmp_path / "line.json").write_text('["check", "SCENE"]')
    folder = base if kind in KEPT else tmp_path
    for _ in range(2):  # acting on a file leaves it as it is
        assert not KINDS[kind].act(base, folder).startswith("refused")


@pytest.mark.parametrize("kind", KINDS)
def test_a_number_gives_the_same_case_each_time(kind, base, tmp_path):
    made = []
    for n in range(2):
        folder = tmp_path / str(n)
        folder.mkdir()
        KINDS[kind].make(base, folder, random_of(kind, 3))
        files = [p for p in sorted(folder.rglob("*")) if p.is_file()]
        made.append([(p.name, p.read_bytes()) for p in files if p.suffix != ".sqlite"])
    assert made[0] == made[1]


@pytest.mark.parametrize("kind", FAULTY)
def test_the_harness_notices(kind, base, tmp_path, monkeypatch):
    monkeypatch.setattr(cases, "PATIENCE", 20.0)
    worker = cases.Worker(base, "tests.fuzz.faulty", seconds=0.5 if kind == "too long" else 10.0)
    try:
        worker.ask("sound", 0, tmp_path)
        worker._met.add(kind)
        ((_, _, found),) = (
            cases.run_cases(worker, [(kind, 0)], tmp_path / "kept")
            if (kind != "too long")
            else [(kind, 0, worker.ask(kind, 0, tmp_path))]
        )
    finally:
        worker.close()
    assert found["came to"] == {"sound": "read"}.get(kind, kind)
    if kind in ("fault", "wrong"):
        assert (tmp_path / "kept" / f"{kind}-0" / "case").exists()


def test_rounds_take_each_kind_by_its_share():
    first = [next_ for next_, _ in zip(rounds(["scene", "run"], 4), range(12), strict=False)]
    assert first[:7] == [*(("scene", n) for n in range(20, 25)), ("run", 4), ("scene", 25)]
