"""Where things stand in the pictures of a rig: three drawings, made of plain SVG by rig.html."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any, Final, NamedTuple

import numpy as np

from snapsim.arrays import Array

WIDTH: Final = 360.0
"""Width of a drawing, in its own units; text is 13 of these high."""

MARGIN: Final = 26.0
PERSON: Final = 500.0
"""Breadth of shoulders that stands for a person [mm] (common practice, no source)."""

KINDS: Final = {"magnet": "a magnet", "free": "let go", "held": "held"}
SIDES: Final = {"front": "From the front", "above": "From above"}


class RigShape(NamedTuple):
    """An SVG path, its style's class, the number or letter that names it and where that stands."""

    path: str
    kind: str
    mark: str
    at: tuple[float, float]


class RigDrawing(NamedTuple):
    """One picture: heading, height, shapes, letters of poles with places, length of 100 mm or
    what `bar_said` says, circles (x, y, radius, class)."""

    heading: str
    height: float
    shapes: list[RigShape]
    poles: list[tuple[str, float, float]]
    bar: float
    bar_said: str
    circles: list[tuple[float, float, float, str]]


class RigPictures(NamedTuple):
    """Drawings, and what each mark in them is."""

    drawings: list[RigDrawing]
    names: list[tuple[str, str]]


def rig(row: dict[str, Any]) -> RigPictures | None:
    """Return the pictures of a row's scene as written; None where its ledger keeps none."""
    views = _checked(row["rig"])
    if views is None:
        return None
    drawings = [_side(views, side) for side in SIDES]
    reach = max((e.get("distance_m") or 0.0 for e in row["stray_field"]), default=0.0)
    if reach > 0.0 and views["magnets_centre"] is not None:
        drawings.append(_reach(views, 1e3 * reach))
    names = [(str(n), _named(b)) for n, b in _numbered(views["bodies"])]
    names += [
        (_letter(n), f"where a hand could be: {h['name']} (gap of {h['gap_mm']:g} mm)")
        for n, h in _numbered(views["hands"])
    ]
    return RigPictures(drawings, names)


def _named(body: dict[str, Any]) -> str:
    what = KINDS[body["kind"]]
    name: str = body["name"]
    return name if "magnet" in name.lower() and body["kind"] == "magnet" else f"{name}, {what}"


def _checked(views: Any) -> dict[str, Any] | None:
    """The views as `rig_views` makes them, None for those of an earlier version or damaged."""
    try:
        for side in SIDES:
            _points(views, side)
        kept = all(b["kind"] in KINDS and b["name"] for b in views["bodies"])
        kept = kept and np.shape(views["magnets_centre"]) in ((), (2,))
        kept = kept and all(h["name"] and h["gap_mm"] for h in views["hands"])
    except (ValueError, KeyError, TypeError):
        return None
    return views if kept else None


def _numbered(things: Iterable[dict[str, Any]]) -> list[tuple[int, dict[str, Any]]]:
    return list(enumerate(things, 1))


def _drawn(views: dict[str, Any]) -> list[tuple[int, dict[str, Any]]]:
    """Bodies with their numbers, in the order in which they are drawn over each other."""
    order = {"held": 0, "magnet": 1, "free": 2}
    return sorted(_numbered(views["bodies"]), key=lambda item: order[item[1]["kind"]])


def _letter(number: int) -> str:
    return chr(ord("a") + (number - 1) % 26)


def _points(views: dict[str, Any], side: str) -> Array:
    """All corners (k, 2) [mm] of bodies and hands."""
    found = np.concatenate([_corners(t, side) for t in (*views["bodies"], *views["hands"])])
    if not np.isfinite(found).all():
        raise ValueError
    return found


def _corners(thing: dict[str, Any], side: str) -> Array:
    return np.concatenate([np.reshape(p, (-1, 2)) for p in thing[side]])


class _Sheet:
    """World [mm] to the drawing's units, y down."""

    def __init__(self, low: Array, high: Array) -> None:
        size = np.maximum(high - low, 1e-3)
        self.scale = min((WIDTH - 2 * MARGIN) / size[0], 1.2 * WIDTH / size[1])
        self.height = float(size[1] * self.scale + 2 * MARGIN)
        self.low, self.high = 0.5 * (low + high) - 0.5 * (WIDTH - 2 * MARGIN) / self.scale, high

    def at(self, point: Any) -> tuple[float, float]:
        x, y = (float(v) for v in point)
        return (
            round(float(MARGIN + (x - self.low[0]) * self.scale), 2),
            round(float(MARGIN + (self.high[1] - y) * self.scale), 2),
        )

    def path(self, outlines: list[Any]) -> str:
        return " ".join(
            "M" + "L".join(f"{x:g} {y:g}" for x, y in map(self.at, outline)) + "Z"
            for outline in outlines
        )


def _side(views: dict[str, Any], side: str) -> RigDrawing:
    every = _points(views, side)
    sheet = _Sheet(every.min(axis=0), every.max(axis=0))
    shapes = [_shape(sheet, b, side, str(n), b["kind"]) for n, b in _drawn(views)]
    shapes += [_shape(sheet, h, side, _letter(n), "hand") for n, h in _numbered(views["hands"])]
    poles = [
        (letter, *sheet.at(place))
        for b in views["bodies"]
        for letter, place in zip("NS", b.get("poles", {}).get(side, ()), strict=False)
        if np.ptp(b["poles"][side], axis=0).max() * sheet.scale > 12.0
    ]
    return RigDrawing(SIDES[side], sheet.height, shapes, poles, 100 * sheet.scale, "100 mm", [])


def _shape(sheet: _Sheet, thing: dict[str, Any], side: str, mark: str, kind: str) -> RigShape:
    points = _corners(thing, side)
    low, high = points.min(axis=0), points.max(axis=0)
    x, y = 0.5 * (low + high)
    # apart where a part hangs under its magnet and a hand lies on it
    place = {"magnet": (low[0], y), "hand": (x, high[1])}.get(kind, (high[0], y))
    return RigShape(sheet.path(thing[side]), kind, mark, sheet.at(place))


def _reach(views: dict[str, Any], radius: float) -> RigDrawing:
    """The rig from above within the reach of its stray field, and a person for size."""
    every = _points(views, "above")
    centre = np.array(views["magnets_centre"], dtype=np.float64)
    beside = centre + np.array([0.62, -0.62]) * radius
    shown = np.vstack(
        [every, centre - radius, centre + radius, beside - 0.5 * PERSON, beside + 0.5 * PERSON]
    )
    sheet = _Sheet(shown.min(axis=0), shown.max(axis=0))
    shapes = [_shape(sheet, b, "above", "", b["kind"]) for _, b in _drawn(views)]
    where = sheet.at(centre)
    circles = [
        (*where, radius * sheet.scale, "reach"),
        (*sheet.at(beside), 0.5 * PERSON * sheet.scale, "person"),
    ]
    return RigDrawing(
        "Reach of its stray field", sheet.height, shapes, [], radius * sheet.scale,
        f"{radius / 1e3:.2g} m", circles,
    )  # fmt: skip
