"""A storyboard's file (TOML): shots in order, each of one kind.

size = "1080p"                # as --size
rate = "30"                   # frames a second; 29.97, 23.976 and 59.94 too
length = "60 s"               # left out: what the shots take; else what stands is made to fit

[[shot]]
run = ["a.h5"]                # the film of a run, of several abreast; paths beside this file
part = "all"                  # or real, slow
events = ["righting", "impact"]
layers = ["section"]
without = ["caution"]
camera = "fixed"
align = "release"

[[shot]]
still = "a.h5"
at = "impact"                 # or release, end, a time, an event's name
number = "0.42 T"
words = "upright, pulled with 79 N"
seconds = "4 s"
layers = ["lines"]
alone = ["bare"]              # beside it the same without the free parts, with these layers

[[shot]]
picture = "plot.png"          # PNG or JPEG

[[shot]]
title = "What if it leans more?"

[[shot]]
pause = "1 s"

[[shot]]
caution = true
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Annotated, TypeVar

import numpy as np
from PIL import Image, UnidentifiedImageError
from pydantic import Field, ValidationError

from snapsim.arrays import ByteArray
from snapsim.errors import InputError
from snapsim.render import ClipOptions, layers_of
from snapsim.render.board import BoardKind, BoardShot, Part, Storyboard
from snapsim.render.cameras.shot import KINDS, Shot
from snapsim.render.events import EventKind, find_events, main_blow
from snapsim.render.options import ALIGNMENTS
from snapsim.render.rates import rate_of
from snapsim.scenario import quantities
from snapsim.scenario.fields import Flag, Table, Time
from snapsim.scenario.text_file import read_toml
from snapsim.simulation.trajectory import Trajectory

MOST_SHOTS = 100
ALLOWED = (
    "run, still, picture, title, pause or caution, and part, events, layers, without, camera,"
    " align, at, alone, number, words, seconds"
)
Named = TypeVar("Named", EventKind, Part)
Reader = Callable[[str], Trajectory]
SizeReader = Callable[[str], tuple[int, int]]


class BoardShotTable(Table):
    """One shot."""

    run: Annotated[tuple[str, ...], Field(min_length=1, max_length=4)] | None = None
    still: str | None = None
    picture: str | None = None
    title: str | None = None
    pause: Time | None = None
    caution: Flag | None = None
    part: str = "all"
    events: tuple[str, ...] | None = None
    layers: tuple[str, ...] = ()
    without: tuple[str, ...] = ()
    camera: str | None = None
    align: str = "release"
    at: str = "impact"
    alone: tuple[str, ...] | None = None
    number: str = ""
    words: str = ""
    seconds: Time | None = None


class StoryTable(Table):
    """The whole file."""

    size: str = "1080p"
    rate: str = "30"
    length: Time | None = None
    shot: Annotated[tuple[BoardShotTable, ...], Field(min_length=1, max_length=MOST_SHOTS)]


def read_story(file: str, size_of: SizeReader, read: Reader) -> Storyboard:
    """Return the board of a file. Raises InputError naming file, key, value and what is allowed."""
    try:
        told = StoryTable.model_validate(read_toml(file, "a storyboard is TOML in UTF-8"))
    except ValidationError as error:
        key, said = first_fault(error)
        raise InputError(said, file=file, key=key) from None
    try:
        width, height = size_of(told.size)
        rate = rate_of(told.rate, "rate")
    except InputError as error:
        raise InputError(error.message, file=file, key=(error.key or "").lstrip("-")) from None
    options = ClipOptions(width=width, height=height, fps=rate)
    shots = []
    for n, table in enumerate(told.shot, 1):
        try:
            shots.append(_shot(table, n, options, Path(file).parent, read))
        except InputError as error:
            if error.file is not None:
                raise
            raise InputError(error.message, file=file, key=f"shot {n}.{error.key}") from None
    return Storyboard(tuple(shots), options, told.length)


def _shot(
    table: BoardShotTable, n: int, options: ClipOptions, folder: Path, read: Reader
) -> BoardShot:
    kinds = [kind for kind in BoardKind if getattr(table, kind.value) is not None]
    if len(kinds) != 1:
        named = ", ".join(kinds) or "none"
        every = ", ".join(BoardKind)
        raise InputError(f"is of {len(kinds)} kinds ({named}); give just one of {every}", key="run")
    (kind,) = kinds
    made = BoardShot(kind, f"{n:02d}-{kind}", _options(table, options), number=table.number,
                     words=table.words, seconds=table.seconds or 0.0)  # fmt: skip
    if kind == BoardKind.RUN:
        runs = tuple(read(str(folder / name)) for name in table.run or ())
        return replace(made, runs=runs, part=_one_of(table.part, Part, "part"))
    if kind == BoardKind.STILL:
        run = read(str(folder / (table.still or "")))
        return replace(made, runs=(run,), time=moment_of(table.at, run), alone=_alone(table))
    if kind == BoardKind.PICTURE:
        return replace(made, picture=_picture(folder / (table.picture or "")))
    if kind == BoardKind.TITLE:
        return replace(made, words=table.title or "")
    if kind == BoardKind.PAUSE:
        return replace(made, seconds=table.pause or 0.0)
    return made


def _options(table: BoardShotTable, options: ClipOptions) -> ClipOptions:
    known = {kind for kind in KINDS if kind != "keyframes"}
    if table.camera is not None and table.camera not in known:
        allowed = ", ".join(kind for kind in KINDS if kind != "keyframes")
        raise InputError(f'"{table.camera}" is no camera; allowed: {allowed}', key="camera")
    if table.align not in ALIGNMENTS:
        allowed = ", ".join(ALIGNMENTS)
        raise InputError(f'"{table.align}" is no alignment; allowed: {allowed}', key="align")
    kinds = frozenset(EventKind)
    if table.events is not None:
        kinds = frozenset(_one_of(name, EventKind, "events") for name in table.events)
    layers = _layers(table.layers, table.without, "layers")
    made = replace(options, layers=layers, events=kinds, align=table.align)  # type: ignore[arg-type]
    if table.camera is None:
        return made
    return replace(made, shot=Shot(table.camera), replay=Shot(table.camera))


def _layers(shown: tuple[str, ...], hidden: tuple[str, ...], key: str) -> frozenset[str]:
    try:
        return layers_of(shown, hidden)
    except InputError as error:
        raise InputError(error.message, key=key) from None


def _alone(table: BoardShotTable) -> frozenset[str] | None:
    """The layers of the showing without the free parts, where one is wanted."""
    return None if table.alone is None else _layers(table.alone, table.without, "alone")


def _one_of(name: str, kinds: type[Named], key: str) -> Named:
    try:
        return kinds(name)
    except ValueError:
        allowed = ", ".join(kinds)
        raise InputError(f'"{name}" is unknown; allowed: {allowed}', key=key) from None


def moment_of(text: str, run: Trajectory) -> float:
    """Return the time [s] of a moment in words: an event of the run, or a time with its unit."""
    blow = main_blow(run)
    if text == "impact":
        return blow.time if blow is not None else float(run.time[-1])
    if text == "end":
        return float(run.time[-1])
    found = [e for e in find_events(run) if e.kind == text]
    if found:  # the moment that its line's figures are of
        late = found[0].kind in (EventKind.RIGHTING, EventKind.PARTING)
        return found[0].end if late else found[0].start
    if text in [str(kind) for kind in EventKind]:
        told = ", ".join(dict.fromkeys(str(e.kind) for e in find_events(run)))
        raise InputError(f'"{text}" does not happen in this run; it has {told}', key="at")
    try:
        return quantities.parse(text, quantities.TIME)[0]
    except ValueError as error:
        allowed = ", ".join(EventKind)
        raise InputError(f"{error}; or one of end, {allowed}", key="at") from None


def _picture(path: Path) -> ByteArray:
    try:
        with Image.open(path) as picture:
            found: ByteArray = np.asarray(picture.convert("RGB"))
            return found
    except FileNotFoundError:
        raise InputError("does not exist", file=str(path)) from None
    except (OSError, UnidentifiedImageError, Image.DecompressionBombError):
        raise InputError("is no picture that can be read (PNG, JPEG)", file=str(path)) from None


def first_fault(error: ValidationError) -> tuple[str, str]:
    """Return key and words of the first thing that is wrong."""
    found = error.errors()[0]
    names = [str(part + 1) if isinstance(part, int) else part for part in found["loc"]]
    key = ".".join(names).replace("shot.", "shot ", 1)
    said = str(found["ctx"]["error"] if found["type"] == "value_error" else found["msg"])
    if found["type"] == "extra_forbidden":
        said = (
            f"is unknown; allowed are {ALLOWED if len(names) > 1 else 'size, rate, length, shot'}"
        )
    if found["type"] == "missing":
        said = "is missing"
    return key, said
