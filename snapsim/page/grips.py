"""Where a body's sizes are taken hold of on the stage, and what a size becomes when one is drawn.

A grip stands on the surface, in body axes, and goes along `axis`. What a key stands for follows
from its name, so that a new kind of shape with such keys needs nothing here: a face is drawn with
the opposite one in its place (the body's centre moves by half), a diameter both ways.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import asdict, dataclass
from typing import Any, Final

import numpy as np

from snapsim.errors import InputError
from snapsim.page.edits import Document, body_of
from snapsim.page.pose import plain
from snapsim.parts.bodies import Body
from snapsim.scenario.quantities import LENGTH, parse

ACROSS: Final = ("diameter", "outer_diameter", "across_flats")
INNER: Final = ("inner_diameter", "bore")
SMALLEST: Final = 1e-4
LARGEST: Final = 5.0
"""Sizes [m] between which a grip can be drawn; other ones can be typed."""


@dataclass(frozen=True)
class SizeGrip:
    """One grip: `key` of the shape and, of several numbers, which `component`; its `point` (3) [m]
    and outward `axis` (3), body axes; `growth` of the size over its way; the `shift` of the centre
    along the axis over the growth; which axes `stretch` with it; `value` [m]; its `words`."""

    key: str
    component: int | None
    point: tuple[float, ...]
    axis: tuple[float, ...]
    growth: float
    shift: float
    stretch: tuple[int, ...]
    value: float
    words: str


def grips(shape: Mapping[str, Any], body: Body) -> list[SizeGrip]:
    """Return the grips of a body with a shape's table; none for a kind that has no such sizes."""
    sizes = {k: _numbers(v) for k, v in shape.items() if isinstance(v, str) and k != "kind"}
    half = [float(h) for h in body.shape.extents]
    return [g for key, values in sizes.items() if values for g in _of(key, values, sizes, half)]


def grips_view(document: Document, bodies: tuple[Body, ...]) -> dict[str, list[dict[str, Any]]]:
    """Return the grips of every body that has some, by name."""
    found = {b.name: grips(body_of(document, b.name).get("shape", {}), b) for b in bodies}
    return {name: [asdict(g) for g in of] for name, of in found.items() if of}


def drawn(shape: Mapping[str, Any], grip: SizeGrip, value: float) -> Document:
    """Return a shape's table with a grip's size at `value` [m]; raises InputError."""
    if not SMALLEST <= value <= LARGEST:
        low, high = plain(1e3 * SMALLEST), plain(1e3 * LARGEST)
        said = f"is {plain(1e3 * value)} mm; must be {low} to {high} mm"
        raise InputError(said, key=grip.key)
    values = _numbers(shape[grip.key])
    values[grip.component or 0] = value
    joint = " x " if "x" in str(shape[grip.key]) else ", "
    return dict(shape) | {grip.key: f"{joint.join(plain(1e3 * v) for v in values)} mm"}


def _numbers(text: str) -> list[float]:
    """The lengths [m] that a text gives, none where it is no length."""
    for count in (1, 2, 3):
        try:
            return list(parse(text, LENGTH, count))
        except ValueError:
            continue
    return []


def _of(
    key: str, values: list[float], sizes: Mapping[str, list[float]], half: list[float]
) -> Iterator[SizeGrip]:
    words = key.replace("_", " ")
    if key == "size":
        for k, sign in ((k, s) for k in range(len(values)) for s in (1, -1)):
            point = _unit(k, sign * half[k])
            side = f"size along {'xyz'[k]}, {'+-'[sign < 0]}{'xyz'[k]} face"
            yield SizeGrip(key, k, point, _unit(k, sign), 1, 0.5, (k,), values[k], side)
    elif key == "length":
        middle = _wall(sizes)
        for sign in (1, -1):
            point = (middle, 0.0, sign * half[2])
            side = f"{words}, {'+-'[sign < 0]}z face"
            yield SizeGrip(key, None, point, _unit(2, sign), 1, 0.5, (2,), values[0], side)
    elif key in ACROSS:
        ball = np.ptp(half) < 1e-12 and len(sizes) == 1
        for k in [i for i in range(3 if ball else 2) if abs(2 * half[i] - values[0]) < 1e-9]:
            stretch = (0, 1, 2) if ball else (0, 1)
            where = f"{words} along {'xyz'[k]}"
            yield SizeGrip(
                key, None, _unit(k, half[k]), _unit(k), 2, 0.0, stretch, values[0], where
            )
    elif key in INNER:
        point = (0.0, values[0] / 2, half[2])
        yield SizeGrip(key, None, point, _unit(1), 2, 0.0, (), values[0], words)
    elif key == "window":
        for k in range(len(values)):
            corner = [0.0, 0.0, half[2]]
            corner[k] = values[k] / 2
            where = f"{words} along {'xyz'[k]}"
            yield SizeGrip(key, k, tuple(corner), _unit(k), 2, 0.0, (), values[k], where)
    elif key == "width":
        yield SizeGrip(key, None, _unit(0, half[0]), _unit(0), 1, 0.0, (), values[0], words)


def _wall(sizes: Mapping[str, list[float]]) -> float:
    """How far from the axis [m] the end of a hollow body is; 0 for a solid one."""
    outer = next((sizes[k][0] for k in ACROSS if k in sizes), 0.0)
    inner = next((sizes[k][0] for k in INNER if k in sizes), 0.0)
    if "window" in sizes and "width" in sizes:
        return (sizes["window"][0] + sizes["width"][0]) / 2
    return (outer + inner) / 4 if inner else 0.0


def _unit(axis: int, size: float = 1.0) -> tuple[float, ...]:
    return tuple(size if k == axis else 0.0 for k in range(3))
