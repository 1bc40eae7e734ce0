"""What is asked rather than written in a file: calls of the page, headers, command lines."""

from __future__ import annotations

import json
import tempfile
from collections.abc import Callable
from concurrent.futures import Executor, Future
from pathlib import Path
from types import SimpleNamespace
from typing import Any

from tests.fuzz.spoiling import CELLS, Random, spoil_bytes, spoil_quantity

TEXTS = [
    *("", " ", "a", "disc", "ring", "magnet", "x" * 3000, "\0", "\x1b[31m", "\U0001f9f2", "'", '"'),
    *("0 mm", "1 mm", "-5 mm", "1e30 m", "1e400 m", "nan", "inf", "0.3", "1 m*9**9**8", "9" * 5000),
    *("90 deg", "1e20 deg", "45", "-z", "0, 0, 5 mm", "[1, 2", "{a = 1}", "[[[[1]]]]", "true"),
    *("none/here", "/none/here", "10 x 10 mm", "fine", "1x1", "1280x720", "-60,20", "nowhere"),
]
NUMBERS = [0, 1, -1, 7, 2**31, 2**63, 10**30, 0.5, -0.0, 1e300, 5e-324, float("nan"), float("inf")]


def _of(choices: list[Any], random: Random) -> Any:
    return choices[int(random.integers(len(choices)))]


def _text(random: Random) -> str:
    text = str(_of([*TEXTS, *CELLS], random))
    return spoil_quantity(text, random) if random.random() < 0.3 else text


def _number(random: Random) -> Any:
    return _of(NUMBERS, random) if random.random() < 0.5 else float(random.normal(0, 0.05))


def _numbers(random: Random, due: int) -> list[Any]:
    return [_number(random) for _ in range(due if random.random() < 0.9 else random.integers(6))]


# -- the page --------------------------------------------------------------------------------------

FIELDS = ["x", "y", "z", "about_x", "about_y", "about_z", "gap", "", "w", "xyz"]
KEYS = [
    *("gravity", "run.duration", "run.detail", "contact.friction", "title", "body.ring.position"),
    *("body.ring.shape.length", "body.magnet.magnetised", "body.ring.fixed", "body.ring.material"),
    *(
        "body.table.position.z",
        "body.none.position",
        "body[1].name",
        "",
        ".",
        "a.b",
        "hand[1].face",
    ),
]
HAND = ["first", "study", "position", "quaternion", "seq", "held", "pace", "end"]


def _table(keys: list[str], random: Random) -> dict[str, Any]:
    """Some of the keys, with values of any kind."""
    values = [_text, _number, lambda r: _numbers(r, 3), lambda r: _numbers(r, 4), lambda r: None]
    return {k: _of(values, random)(random) for k in keys if random.random() < 0.4}


CALLS: dict[str, Callable[[Random], list[Any]]] = {
    "hello": lambda r: [],
    "move": lambda r: [_numbers(r, 3), _numbers(r, 4)],
    "type_pose": lambda r: [_of(FIELDS, r), _text(r)],
    "look": lambda r: [],
    "back": lambda r: [],
    "set_down": lambda r: [],
    "put": lambda r: [_of(KEYS, r), None if r.random() < 0.2 else _text(r)],
    "choose": lambda r: [_text(r)],
    "edit": lambda r: [_of(["add", "remove", "lock", "free", "duplicate", _text(r)], r), _text(r)],
    "reshape": lambda r: [_text(r), _of(["box", "ring", _text(r)], r)],
    "undo": lambda r: [],
    "redo": lambda r: [],
    "retext": lambda r: [_text(r)],
    "open": lambda r: [_text(r), _text(r)],
    "begin": lambda r: [_text(r)],
    "toml": lambda r: [],
    "draft": lambda r: [],
    "release": lambda r: [],
    "explain": lambda r: [_of(["curve", "margin", _text(r)], r)],
    "lines": lambda r: [_of([None, 1, 99], r), _number(r)],
    "clip": lambda r: [_number(r), _number(r), _number(r)],
    "html": lambda r: [_number(r)],
    "stop": lambda r: [_number(r)],
    "standing": lambda r: [],
    "result": lambda r: [_number(r)],
    "file_of": lambda r: [_number(r)],
    "study": lambda r: [_of(["rests", "fates", "sweep", _text(r)], r), _table(HAND[:2], r)],
    "rehearse": lambda r: [_table(HAND, r)],
    "resize": lambda r: [
        *("ring", _of(["outer_diameter", "inner_diameter", "length", _text(r)], r)),
        *(int(r.integers(-1, 7)), _number(r)),
    ],
    "lay_flat": lambda r: [],
    "to_pole": lambda r: [],
    "add_mesh": lambda r: [_text(r), _text(r)],
    "know_mesh": lambda r: [_text(r), _text(r)],
    "differ": lambda r: [_number(r), _number(r)],
}
"""The page's calls, with arguments of the kinds that its own script sends."""


def make_calls(base: Path, folder: Path, random: Random) -> bool:
    """A few calls one after another, and the head of a request."""
    names = [_of(list(CALLS), random) for _ in range(int(random.integers(1, 6)))]
    calls = [[name, _of(["tab", "other", ""], random), *CALLS[name](random)] for name in names]
    heads = [b"127.0.0.1:8000", b"http://127.0.0.1:8000", b"/token/ws", b"[::1]:80", b"http://["]
    head = [spoil_bytes(_of(heads, random), random).decode("latin-1") for _ in range(3)]
    (folder / "calls.json").write_text(json.dumps({"calls": calls, "head": head}))
    return False


class AtOnce(Executor):
    """Does what is submitted where it is asked for."""

    def submit(self, fn: Callable[..., Any], /, *args: Any, **kwargs: Any) -> Future[Any]:
        future = Future[Any]()
        try:
            future.set_result(fn(*args, **kwargs))
        except Exception as error:
            future.set_exception(error)
        return future


class NoLane:
    """Takes jobs and does none."""

    def submit(self, kind: str, work: Any, given: dict[str, Any]) -> Any:
        from snapsim.page.jobs import PageJob

        job = PageJob(1, kind, work, given, state="done", result={})
        job.over.set()
        return job


class _NoHand(SimpleNamespace):
    """A rehearsal that stands still."""

    state, look = "running", SimpleNamespace(state="running", active=True)

    def tell(self, told: dict[str, Any]) -> None:
        json.dumps(told)

    def hear(self) -> None:
        pass

    def close(self) -> None:
        pass

    def news(self) -> dict[str, Any]:
        return {}


def act_calls(base: Path, folder: Path) -> str:
    """Answers of a desk whose lanes do nothing; raises ValueError where one is not as it must."""
    from snapsim.page.bench import Source
    from snapsim.page.guard import allowed
    from snapsim.page.triggers import Desk

    asked = json.loads((folder / "calls.json").read_text())
    path, host, origin = asked["head"]
    found: list[Any] = [allowed(path, host, origin, "token")]
    source = Source((base / "scene.toml").read_text(), str(base / "scene.toml"))
    desk = Desk.__new__(Desk)
    vars(desk).update(
        source=source, first_run=None, executor=AtOnce(), tabs={}, runs=NoLane(), looks=NoLane(),
        drafts=NoLane(), studies=NoLane(), rehearsals={"tab": _NoHand()},
        folder=SimpleNamespace(name=tempfile.gettempdir()), numbers=0, dropped={},
    )  # fmt: skip
    for name, *given in asked["calls"]:
        answer = getattr(desk, name)(*given)
        said = str(answer.get("error", {}).get("message", ""))
        if "unexpected fault" in said or "\n" in said:
            raise ValueError(f"{name}{given!r:.200}: {said}")
        found.append(said or sorted(answer))
    return json.dumps(found)


# -- command lines ---------------------------------------------------------------------------------

LINES: list[list[str]] = [
    ["check", "SCENE", "--set", "?"],
    ["force", "SCENE", "--no-accuracy", "--body", "?"],
    ["force", "SCENE", "--along", "?", "--distance", "?", "--points", "2"],
    ["force", "SCENE", "--plane", "?", "--span", "?", "--points", "2"],
    ["force", "SCENE", "--no-accuracy", "-o", "?"],
    ["poses", "SCENE", "--body", "?", "--starts", "0"],
    ["margin", "SCENE", "--body", "?", "--way", "?", "--against", "?"],
    ["margin", "SCENE", "--find", "?", "--on", "?", "--so-that", "?"],
    ["fate", "SCENE", "-o", "?", "--first", "?", "--second", "?", "--limit", "4"],
    ["fate", "SCENE", "-o", "out", "--first", "gravity=1..2 m/s^2", "--grid", "?"],
    ["plot", "RUN", "-o", "out.csv", "--plane", "?"],
    ["plot", "RUN", "-o", "?"],
    ["clip", "none.h5", "-o", "a.mp4", "--size", "?", "--view", "?", "--camera", "?"],
    ["clip", "none.h5", "-o", "a.png", "--still", "?", "--fps", "?"],
    ["clip", "none.h5", "-o", "?", "--slow-motion", "?"],
    ["match", "RUN", "TRACKS", "--with", "MATCH", "--lay-only", "--point", "?"],
    ["match", "RUN", "TRACKS", "--with", "MATCH", "--lay-only", "-o", "?"],
    ["sweep", "?", "-o", "?"],
    ["sweep", "STUDY", "-o", "out", "--keep", "?", "--samples", "?"],
    ["rank", "SWEEP", "--limits", "?"],
    ["rank", "?"],
    ["materials", "?"],
    ["new", "?"],
    ["page", "none.toml", "--port", "?"],
]
"""Commands that refuse, or are quick; "?" is drawn."""

FILES = {
    "SCENE": "scene.toml",
    "RUN": "run.h5",
    "TRACKS": "tracks.csv",
    "MATCH": "plane.match.toml",
    "STUDY": "a.study.toml",
    "SWEEP": "sweep",
}


def make_line(base: Path, folder: Path, random: Random) -> bool:
    """A command line."""
    line = list(_of(LINES, random))
    for n, part in enumerate(line):
        if part == "?":
            text = _text(random) if random.random() < 0.85 else str(_number(random))
            line[n] = text.replace("\0", "")  # no command line can hold one
        elif random.random() < 0.02:
            line[n] = _text(random).replace("\0", "")
    (folder / "line.json").write_text(json.dumps(line))
    return False


def line_of(base: Path, folder: Path) -> list[str]:
    """The command line of a case, with the sound files' own names."""
    line: list[str] = json.loads((folder / "line.json").read_text())
    return [str(base / FILES[part]) if part in FILES else part for part in line]
