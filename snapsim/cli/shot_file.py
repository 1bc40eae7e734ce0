"""A file of shots (TOML): cameras and keyframes for a clip.

[[shot]]                      # the first is the telling, the second the replay
camera = "orbit"
view = ["-60 deg", "20 deg"]  # azimuth from +x, elevation; left out: where nothing is hidden
turn = "90 deg"
zoom = 0.8

[[shot]]
camera = "keyframes"
key = [
  { at = "0 s", azimuth = "-60 deg", elevation = "20 deg" },
  { at = "6 s", azimuth = "10 deg", elevation = "8 deg", zoom = 0.7 },
]
"""

from __future__ import annotations

import math
from typing import Annotated

from pydantic import Field, ValidationError

from snapsim.errors import InputError
from snapsim.render.cameras.shot import KINDS, Key, Shot
from snapsim.scenario.fields import Angle, Number, Table, Time
from snapsim.scenario.text_file import read_toml


class KeyTable(Table):
    """One keyframe."""

    at: Time
    azimuth: Angle
    elevation: Angle
    zoom: Number = 1.0


class ShotTable(Table):
    """One camera."""

    camera: str
    view: tuple[Angle, Angle] | None = None
    turn: Angle = math.radians(60.0)
    zoom: Number = 1.0
    key: tuple[KeyTable, ...] = ()


class ShotFile(Table):
    """The whole file."""

    shot: Annotated[tuple[ShotTable, ...], Field(min_length=1, max_length=2)]


def shot_of(text: str, option: str, number: int) -> Shot:
    """Return the camera that an option names: a kind, or shot `number` of a file, or its last.

    Raises InputError naming file and key.
    """
    if text in KINDS and text != "keyframes":
        return Shot(text)
    if not text.endswith(".toml"):
        names = ", ".join(kind for kind in KINDS if kind != "keyframes")
        raise InputError(
            f'"{text}" is no camera; cameras are {names}, or a file of shots (.toml)', key=option
        )
    shots = read_shots(text)
    return shots[min(number, len(shots) - 1)]


def read_shots(file: str) -> tuple[Shot, ...]:
    """Return the shots of a file; raises InputError."""
    try:
        tables = ShotFile.model_validate(read_toml(file, "a file of shots is TOML in UTF-8"))
    except ValidationError as error:
        key, said = _first(error)
        raise InputError(said, file=file, key=key) from None
    shots = tuple(_shot(table) for table in tables.shot)
    for n, shot in enumerate(shots, 1):
        for key, said in shot.problems():
            raise InputError(said, file=file, key=f"shot {n}.{key}")
    return shots


def _shot(table: ShotTable) -> Shot:
    view = None
    if table.view is not None:
        view = math.degrees(table.view[0]), math.degrees(table.view[1])
    keys = tuple(
        Key(k.at, math.degrees(k.azimuth), math.degrees(k.elevation), k.zoom) for k in table.key
    )
    return Shot(table.camera, view, table.zoom, math.degrees(table.turn), keys)


def _first(error: ValidationError) -> tuple[str, str]:
    """Key and words of the first thing that is wrong."""
    found = error.errors()[0]
    key = ".".join(str(part + 1) if isinstance(part, int) else part for part in found["loc"])
    said = str(found["ctx"]["error"] if found["type"] == "value_error" else found["msg"])
    if found["type"] == "extra_forbidden":
        said = (
            "is unknown; allowed are camera, view, turn, zoom, key (at, azimuth, elevation, zoom)"
        )
    if found["type"] == "missing":
        said = "is missing"
    return key, said
