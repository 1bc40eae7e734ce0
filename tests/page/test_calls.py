"""No call of the page ends in a fault, whatever kinds of values it is given, or is not given."""

from __future__ import annotations

import inspect
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from conftest import SCENE

from snapsim.page import triggers
from snapsim.page.bench import Source
from snapsim.page.triggers import CALLS, Desk
from tests.fuzz.asking import AtOnce, NoLane

TURN = [1.0, 0.0, 0.0, 0.0]
ODD: list[Any] = [
    *(None, True, 3, 0.5, "x", [], [1, 2, 3], {}, float("nan"), 10**400, ["a", None]),
    *(
        {"position": [0, 0, 0]},
        {"quaternion": TURN},
        {"position": [0, 0, 0], "quaternion": 4 * [0]},
    ),
    *({"position": ["a", 1, 2], "quaternion": TURN}, {"position": None, "quaternion": None}),
    *({"seq": "a"}, {"seq": 10**400}, {"held": "no"}, {"pace": None}, {"pace": 10**400}, {"no": 1}),
    *({"first": 3}, {"study": "x" * 200_000}),
]
SOUND: dict[str, list[Any]] = {
    "move": [[0.0, 0.0, -0.06], TURN],
    "type_pose": ["x", "5"],
    "put": ["run.duration", "1 s"],
    "edit": ["add", "part"],
    "reshape": ["disc", "box"],
    "open": [SCENE, "disc.toml"],
    "rehearse_begin": ["60 N", 1.0],
    "rehearse": [{"position": [0.0, 0.0, -0.06], "quaternion": TURN}],
    "study": ["rests", {}],
    "lines": [None, 0.0],
    "clip": [1, 10, 10],
    "resize": ["disc", "length", 2, 0.02, 1],
    "stop": [1, True],
    "differ": [1, 2],
}


@pytest.fixture
def desk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Desk:
    made = Desk.__new__(Desk)
    idle = SimpleNamespace(
        tell=lambda told: None, hear=lambda: None, news=dict, close=lambda: None,
        state="running", look=SimpleNamespace(state="running", active=True),
    )  # fmt: skip
    monkeypatch.setattr(triggers, "Rehearsing", lambda given: idle)
    lane = NoLane()
    vars(made).update(
        source=Source(SCENE, "disc.toml"), first_run=None, executor=AtOnce(), tabs={}, runs=lane,
        looks=lane, drafts=lane, studies=lane, rehearsals={"tab": idle},
        folder=SimpleNamespace(name=str(tmp_path)), numbers=0, dropped={},
    )  # fmt: skip
    return made


def told(desk: Desk, name: str, given: list[Any]) -> str:
    answer = getattr(desk, name)(*given)
    message = str(answer.get("error", {}).get("message", ""))
    assert "unexpected" not in message, (name, repr(given)[:200], message)
    assert "\n" not in message
    return message


@pytest.mark.parametrize("name", CALLS)
def test_a_value_of_another_kind_is_one_line_in_every_place_of_a_call(
    desk: Desk, name: str
) -> None:
    asked = list(inspect.signature(getattr(Desk, name)).parameters.values())[1:]
    needed = sum(p.default is p.empty for p in asked)
    sound = ["tab", *SOUND.get(name, ["x"] * (needed - 1))]
    for k in range(len(sound)):
        refused = told(desk, name, sound[:k])
        assert refused or k >= needed  # what is missing is always refused
        for odd in ODD:
            told(desk, name, [*sound[:k], odd, *sound[k + 1 :]])
    assert told(desk, name, [*sound, *[None] * 5])


def test_a_hand_is_told_its_place_and_its_turn_together(desk: Desk) -> None:
    assert told(desk, "rehearse", ["tab", *SOUND["rehearse"]]) == ""
    for given, missing in (("position", "quaternion"), ("quaternion", "position")):
        half = {given: SOUND["rehearse"][0][given]}
        answer = desk.rehearse("tab", half)
        assert answer["error"]["key"] == missing
        assert "both its place and its turn" in answer["error"]["message"]
