"""Reads a magnetisation curve from a CSV file: two columns, each headed by a name and its unit.

    H (kA/m), B (T)          field strength, then flux density, or polarisation where the name of a
    0, 0                     column in tesla begins with J or has "polarisation" in it
    0.2, 0.31

Columns stand in either order, parted by commas, semicolons or tabs; the unit stands in round or
square brackets. Empty lines and those that begin with # are passed over. CurveRows of polarisation
become flux density, B = mu_0 H + J.
"""

from __future__ import annotations

import math
import re
from pathlib import Path
from typing import Final

from snapsim.constants import MU_0
from snapsim.errors import InputError
from snapsim.scenario.quantities import FIELD_STRENGTH, FLUX_DENSITY, QuantityKind, scale, shown
from snapsim.scenario.text_file import read_text

MOST_BYTES: Final = 2**20
MOST_ROWS: Final = 2000

_HEAD = re.compile(r"\s*(.*?)\s*[\[(]\s*([^\])]+?)\s*[\])]\s*")

CurveRows = tuple[tuple[float, float], ...]


def read_curve(folder: Path, name: str) -> CurveRows:
    """Return rows of field strength [A/m] and flux density [T]; raises ValueError with one line for
    a person."""
    try:
        text = read_text(str(folder / name), "a curve is CSV in UTF-8", MOST_BYTES)
    except InputError as error:
        raise ValueError(
            f'"{name}" {error.message}; its path goes from the scene\'s folder'
        ) from None
    lines = [(n, line) for n, line in enumerate(text.splitlines(), 1) if _says(line)]
    if len(lines) < 3:
        raise ValueError(f'"{name}" has {len(lines)} lines; a head and two rows at least are due')
    if len(lines) > MOST_ROWS + 1:
        raise ValueError(f'"{name}" has {len(lines) - 1} rows; at most {MOST_ROWS} are allowed')
    (_, head), rows = lines[0], lines[1:]
    sign = next((s for s in "\t;," if s in head), ",")
    columns = [_column(cell, name) for cell in head.split(sign)]
    kinds = [kind for kind, _, _ in columns]
    if sorted(k.unit for k in kinds) != [FIELD_STRENGTH.unit, FLUX_DENSITY.unit]:
        raise ValueError(
            f'"{name}" needs two columns, one of field strength and one of flux density or'
            ' polarisation, headed like "H (A/m), B (T)"'
        )
    found = [_row(line.split(sign), columns, f'"{name}" line {n}') for n, line in rows]
    return tuple(found)


def _says(line: str) -> bool:
    return bool(line.strip()) and not line.lstrip().startswith("#")


def _column(cell: str, name: str) -> tuple[QuantityKind, float, bool]:
    """What a column holds, its factor to SI, and whether it is polarisation."""
    match = _HEAD.fullmatch(cell)
    if match is None:
        raise ValueError(f'"{name}" head: "{shown(cell)}" has no unit in brackets, like "H (A/m)"')
    label, unit = match[1], match[2]
    for kind in (FIELD_STRENGTH, FLUX_DENSITY):
        try:
            factor = scale(unit, kind.unit)
        except ValueError:
            continue
        word = label.lower()
        of_matter = word.startswith("j") or "polari" in word
        return kind, factor, kind is FLUX_DENSITY and of_matter
    raise ValueError(f'"{name}" head: "{shown(unit)}" is no unit of field strength or flux density')


def _row(
    cells: list[str], columns: list[tuple[QuantityKind, float, bool]], where: str
) -> tuple[float, float]:
    if len(cells) != 2:
        raise ValueError(f"{where}: has {len(cells)} values; two are due")
    h, b, polarisation = 0.0, 0.0, False
    for cell, (kind, factor, of_matter) in zip(cells, columns, strict=True):
        try:
            value = float(cell) * factor
        except ValueError:
            raise ValueError(f'{where}: "{shown(cell.strip())}" is no number') from None
        if not math.isfinite(value):
            raise ValueError(f"{where}: {shown(cell.strip())} is not finite")
        if kind is FIELD_STRENGTH:
            h = value
        else:
            b, polarisation = value, of_matter
    return h, b + MU_0 * h if polarisation else b
