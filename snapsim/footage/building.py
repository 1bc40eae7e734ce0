"""From descriptions to a view in SI units."""

from __future__ import annotations

import numpy as np

from snapsim.errors import InputError
from snapsim.footage.match_file import MatchFile, PinholeDescription, PlaneDescription
from snapsim.footage.table import TrackTable
from snapsim.footage.views import FootageView, Pinhole, PlaneView
from snapsim.footage.views.pinhole import axes_toward
from snapsim.scenario.quantities import LENGTH, parse

PIXELS = frozenset({"", "px", "pixel", "pixels"})


def view_of(match: MatchFile, file: str, unit: str = "") -> FootageView:
    """Return the view; `unit` is that of the tracks' places, "" for pixels; raises InputError."""
    given = match.view
    if isinstance(given, PinholeDescription):
        return _pinhole(given, file, unit)
    return _plane(given, file, unit)


def unit_of(table: TrackTable) -> str:
    """Return the unit of the places in a table: "px", or a length like "mm"; raises InputError."""
    found = {
        unit
        for heading, unit in zip(table.headings, table.units, strict=True)
        if heading[-1:].casefold() in ("x", "y") or heading.casefold()[:-1].endswith(("x", "y"))
    }
    if len(found - PIXELS) > 1 or (found - PIXELS and found & PIXELS):
        shown = ", ".join(sorted(u or "none" for u in found))
        raise InputError(f"places come in several units: {shown}; use one", file=table.file)
    return next(iter(found - PIXELS), "px")


def _plane(given: PlaneDescription, file: str, unit: str) -> PlaneView:
    right, up = np.array(given.right), np.array(given.up)
    if abs(float(right @ up)) > 1e-6:
        raise InputError("right and up are not square to each other", file=file, key="view")
    measured = unit not in PIXELS
    _require_measures(given, file, unit)
    scale = 1 / _metres(unit, file) if measured else given.scale
    assert scale is not None
    down = given.y == "down" and not (measured and "y" not in given.model_fields_set)
    return PlaneView(
        given.size, given.line_time, given.exposure, down, right, up, scale,
        given.origin or (0.0, 0.0),
    )  # fmt: skip


def _require_measures(given: PlaneDescription, file: str, unit: str) -> None:
    """Refuse pixels without scale and origin, and a scale of places that have a unit."""
    measured = unit not in PIXELS
    if given.scale is None and not measured:
        raise InputError(
            'units are missing: give scale = "4 px/mm" under [view] (--scale "4 px/mm"), or head'
            ' the columns with a unit, like "x [mm]"',
            file=file,
            key="view.scale",
        )
    if measured and given.scale is not None:
        raise InputError(
            f"is given, but the places are in {unit} already; leave one out",
            file=file,
            key="view.scale",
        )
    if given.origin is None and not measured:
        raise InputError(
            "is missing: the pixel where the scene's origin is seen, like origin ="
            ' "320, 460 px" under [view], or --origin "320, 460 px"',
            file=file,
            key="view.origin",
        )


def _metres(unit: str, file: str) -> float:
    try:
        return parse(f"1 {unit}", LENGTH)[0]
    except ValueError as error:
        raise InputError(str(error), file=file, key="heading") from None


def _pinhole(given: PinholeDescription, file: str, unit: str) -> Pinhole:
    if unit not in PIXELS:
        raise InputError(f"a pinhole camera sees pixels, not {unit}", file=file, key="view")
    position = np.array(given.position)
    ahead = np.array(given.direction or np.subtract(given.look_at or (0, 0, 0), position))
    try:
        if not np.any(ahead):
            raise ValueError("looks at where it stands")
        axes = axes_toward(ahead, np.array(given.up))
    except ValueError as error:
        raise InputError(str(error), file=file, key="view") from None
    centre = given.centre or (given.size[0] / 2, given.size[1] / 2)
    return Pinhole(
        given.size, given.line_time, given.exposure, given.y == "down", position, axes,
        given.focal_length, centre,
    )  # fmt: skip
