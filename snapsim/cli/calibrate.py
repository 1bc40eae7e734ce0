"""`snapsim calibrate FILE --magnet NAME`: a magnet's remanence from a gaussmeter or a scale."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Any

import typer

from snapsim.cli.options import AsJson, Changes, ReplaceFlag, SceneFile
from snapsim.cli.output import emit, emit_json
from snapsim.errors import InputError

if TYPE_CHECKING:
    from snapsim.arrays import Array
    from snapsim.scenario.quantities import QuantityKind
    from snapsim.simulation.system import System
    from snapsim.study.calibration import Calibration, Instrument

MagnetName = Annotated[str, typer.Option("--magnet", metavar="NAME", help="The magnet's body.")]
MeasuredField = Annotated[
    str | None, typer.Option("--field", help='What a gaussmeter shows, like "85 mT".')
]
MeasuredAt = Annotated[
    str | None, typer.Option("--at", help='Where, in the world: "0, 0, -25 mm".')
]
MeasuredPull = Annotated[
    str | None, typer.Option("--pull", help='What a scale shows, like "42 N".')
]
DrawnBody = Annotated[
    str | None, typer.Option("--body", metavar="NAME", help="What the scale draws off.")
]
MeasuredAlong = Annotated[
    str | None,
    typer.Option("--along", help='The way measured along or drawn, like "-z"; else the field\'s.'),
]
ReadingKnownTo = Annotated[
    str, typer.Option("--reading-error", help="What the reading is known to, in its unit.")
]
PlaceKnownTo = Annotated[
    str, typer.Option("--place-error", help="What the gaussmeter's place is known to.")
]
FoundScene = Annotated[
    str | None, typer.Option("--output", "-o", help="Scene to write with the found value.")
]


def calibrate(
    file: SceneFile,
    magnet: MagnetName,
    reading_error: ReadingKnownTo,
    field: MeasuredField = None,
    at: MeasuredAt = None,
    pull: MeasuredPull = None,
    body: DrawnBody = None,
    along: MeasuredAlong = None,
    place_error: PlaceKnownTo = "0.5 mm",
    output: FoundScene = None,
    force: ReplaceFlag = False,
    json: AsJson = False,
    changes: Changes = None,
) -> None:
    """Find a magnet's remanence from one measured field or pull; no data sheet needed."""
    from snapsim.scenario.loading import load_scene
    from snapsim.scenario.quantities import FLUX_DENSITY, FORCE, LENGTH
    from snapsim.study.calibration import calibrated, gaussmeter, misplaced
    from snapsim.study.calibration import scale as scale_of

    if (field is None) == (pull is None):
        raise InputError(
            "give one reading: --field with --at, or --pull with --body", key="--field"
        )
    system = load_scene(file, changes or ())
    way = _way(along)
    place: Instrument | None = None
    if field is not None:
        if at is None:
            raise InputError('is missing: where the field was measured, "0, 0, -25 mm"', key="--at")
        point = _read(at, LENGTH, "--at", 3)
        reading = gaussmeter(point, way)
        place = misplaced(point, way, float(_read(place_error, LENGTH, "--place-error")[0]))
        kind, shown = FLUX_DENSITY, _read(field, FLUX_DENSITY, "--field")
    else:
        if body is None:
            raise InputError("is missing: what the scale drew off", key="--body")
        reading = scale_of(system.number(body, "--body"), way)
        kind, shown = FORCE, _read(str(pull), FORCE, "--pull")
    error = abs(float(_read(reading_error, kind, "--reading-error")[0]))
    found = calibrated(system, magnet, reading, float(shown[0]), error, place)
    if output is not None:
        _write(system, found, output, force, changes or [])
    result = _result(found, output)
    emit_json("calibrate", result) if json else emit(_said(found, output))


def _read(text: str, kind: QuantityKind, key: str, count: int = 1) -> Array:
    import numpy as np

    from snapsim.scenario.quantities import parse

    try:
        return np.array(parse(text, kind, count))
    except ValueError as error:
        raise InputError(str(error), key=key) from None


def _way(along: str | None) -> Array | None:
    import numpy as np

    from snapsim.scenario.fields import read_direction

    if along is None:
        return None
    try:
        return np.array(read_direction(along))
    except ValueError as error:
        raise InputError(str(error), key="--along") from None


def _write(
    system: System, found: Calibration, output: str, force: bool, changes: list[str]
) -> None:
    """Write the scene with the found remanence, its comments and layout kept; a built-in material
    becomes one of the scene's own."""
    from snapsim.scenario import toml_text
    from snapsim.scenario.changes import apply_changes
    from snapsim.scenario.resolve import describe
    from snapsim.scenario.text_file import toml_document
    from snapsim.storage.whole_file import whole_file

    change = f'material."{found.material}".remanence="{found.remanence:.5g} T"'
    document = toml_document(system.source, system.file)
    own = document.setdefault("material", [])
    if all(entry.get("name") != found.material for entry in own):
        material = next(b.material for b in system.bodies if b.material.name == found.material)
        own.append(describe(material).model_dump(exclude_none=True))
    changed = apply_changes(document, [*changes, change], system.file)
    entry = next(entry for entry in changed["material"] if entry["name"] == found.material)
    of = f"measured, by snapsim calibrate: {found.low:.4g} to {found.high:.4g} T"
    entry["source"] = {**entry.get("source", {}), "remanence": of}
    with whole_file(output, force) as temporary:
        temporary.write_text(toml_text.rewritten(system.source, changed), encoding="utf-8")


def _result(found: Calibration, output: str | None) -> dict[str, Any]:
    return {
        "material": found.material,
        "remanence_before_T": found.before,
        "remanence_T": found.remanence,
        "interval_T": [found.low, found.high],
        "half_width_T": {
            "reading": found.of_reading,
            "place": found.of_place,
            "cells": found.of_cells,
        },
        "file": output,
    }


def _said(found: Calibration, output: str | None) -> str:
    lines = [
        f"{found.material}: remanence {found.remanence:.4g} T, from {found.low:.4g} to"
        f" {found.high:.4g} T (the scene had {found.before:.4g} T)",
        f"of the half width {found.half_width:.2g} T the reading's error makes"
        f" {found.of_reading:.2g}, its place {found.of_place:.2g}, the cells {found.of_cells:.2g}",
        "not in it: uneven magnetisation, the curve of iron, warmth",
    ]
    if output is not None:
        lines.append(f"wrote {output}")
    return "\n".join(lines)
