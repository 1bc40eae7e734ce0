"""Pixels as people write them: "1 px", "320, 460 px", "640 x 480 px", "4 px/mm", "240 Hz"."""

from __future__ import annotations

import re
from typing import Annotated, Any, TypeGuard

from pydantic import BeforeValidator, PlainSerializer, WithJsonSchema

from snapsim.scenario import quantities
from snapsim.scenario.quantities import QuantityKind

_NUMBER = r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?"
_MANY = re.compile(rf"\s*({_NUMBER}(?:\s*[,x×]\s*{_NUMBER})*)\s*(?:px|pixels?)\s*")
_SCALE = re.compile(rf"\s*({_NUMBER})\s*(?:px|pixels?)\s*/\s*(\S+)\s*")
_RATE = QuantityKind("a frame rate", "Hz", "240 Hz")


def pixels(text: object, count: int, example: str) -> tuple[float, ...]:
    """Return `count` numbers of pixels; raises ValueError with a text for a person."""
    match = _MANY.fullmatch(text) if _is_short(text) else None
    found = re.split(r"[,x×]", match[1]) if match else []
    if len(found) != count:
        raise ValueError(
            f'"{quantities.shown(text)}" is not as due here; write it like "{example}"'
        )
    return tuple(float(v) for v in found)


def pixels_per_metre(text: object) -> float:
    """Return the scale of "4 px/mm" in px/m; raises ValueError."""
    match = _SCALE.fullmatch(text) if _is_short(text) else None
    if match is None:
        raise ValueError(
            f'"{quantities.shown(text)}" is no scale; write pixels per length, like "4 px/mm"'
        )
    scale = float(match[1]) / quantities.parse(f"1 {match[2]}", quantities.LENGTH)[0]
    if not scale > 0:
        raise ValueError(f'"{text}" is no scale; it must be greater than 0')
    return scale


def _is_short(text: object) -> TypeGuard[str]:
    """Whether it is a text of sensible length."""
    return isinstance(text, str) and len(text) <= quantities.LONGEST


def frame_rate(text: object) -> float:
    """Return frames a second of "240 Hz" or "240 fps"; raises ValueError."""
    plain = text.replace("fps", "Hz") if isinstance(text, str) else text
    rate = quantities.parse(plain, _RATE)[0]
    if not rate > 0:
        raise ValueError(f'"{text}" is no frame rate; it must be greater than 0')
    return rate


def _field(read: Any, write: Any, example: str) -> tuple[Any, ...]:
    return (
        BeforeValidator(read),
        PlainSerializer(write, return_type=str),
        WithJsonSchema({"type": "string", "examples": [example]}),
    )


def _shown(sign: str) -> Any:
    return lambda values: f"{sign.join(repr(float(v)) for v in values)} px"


Pixels = Annotated[
    float,
    *_field(lambda t: pixels(t, 1, "1 px")[0], lambda v: f"{float(v)!r} px", "1 px"),
]
PixelPoint = Annotated[
    tuple[float, float],
    *_field(lambda t: pixels(t, 2, "320, 460 px"), _shown(", "), "320, 460 px"),
]
PixelSize = Annotated[
    tuple[float, float],
    *_field(lambda t: pixels(t, 2, "640 x 480 px"), _shown(" x "), "640 x 480 px"),
]
Scale = Annotated[float, *_field(pixels_per_metre, lambda v: f"{float(v)!r} px/m", "4 px/mm")]
FrameRate = Annotated[float, *_field(frame_rate, lambda v: f"{float(v)!r} Hz", "240 Hz")]
