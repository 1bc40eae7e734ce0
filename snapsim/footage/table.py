"""A table of numbers as trackers and spreadsheets write it: text in, columns of float64 out.

Cells are parted by semicolons, tabs or commas, in this order of preference; a decimal comma is
read where commas do not part cells. Blank cells and nan, na, n/a, null or - are gaps. Lines that
begin with # are notes. A second heading line is joined to the first, whose blanks repeat the name
to their left ("rim, , hub," over "x, y, x, y").
"""

from __future__ import annotations

import csv
import re
from dataclasses import dataclass

import numpy as np

from snapsim.arrays import Array
from snapsim.errors import InputError
from snapsim.scenario.text_file import read_text

GAPS = frozenset({"", "nan", "na", "n/a", "null", "none", "-", "--"})
_COMMA = re.compile(r"[+-]?\d*,\d+(?:[eE][+-]?\d+)?")
_UNIT = re.compile(r"(.*?)\s*[\[(]\s*([^\])]*?)\s*[\])]\s*")


LONGEST_HEADING = 200
"""Characters of a heading."""

MOST_COLUMNS = 2000
"""Columns of a table: a thousand points."""


@dataclass(frozen=True)
class TrackTable:
    """Cells as text with their headings; `units` are those in brackets behind a heading, or "".

    `lines` are the line numbers of the rows in the file.
    """

    file: str
    source: str
    headings: tuple[str, ...]
    units: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    lines: tuple[int, ...]

    def column(self, heading: str) -> int:
        """Return the number of the column; raises InputError naming those there are."""
        folded = [h.casefold() for h in self.headings]
        if heading.casefold() not in folded:
            there = ", ".join(f'"{h}"' for h in self.headings)
            raise InputError(
                f"is no column; the file has {there}", file=self.file, key=f'"{heading}"'
            )
        return folded.index(heading.casefold())

    def numbers(self, column: int) -> Array:
        """Return a column (k,) as numbers, nan at gaps; raises InputError naming the line."""
        return np.array([self._number(r, column) for r in range(len(self.rows))])

    def texts(self, column: int) -> list[str]:
        """Return a column as texts."""
        return [row[column] for row in self.rows]

    def _number(self, row: int, column: int) -> float:
        text = self.rows[row][column]
        value = number(text)
        if value is None:
            raise InputError(
                f'"{text}" is no number; write one, or leave a gap blank',
                file=self.file,
                key=f'line {self.lines[row]}, column "{self.headings[column]}"',
            )
        return value


def number(text: str) -> float | None:
    """Return a cell as a number, nan for a gap, None for other text; a decimal comma is fine."""
    folded = text.strip().casefold()
    if folded in GAPS:
        return float("nan")
    if _COMMA.fullmatch(folded):
        folded = folded.replace(",", ".")
    try:
        value = float(folded.replace("_", "x"))
    except ValueError:
        return None
    return value if np.isfinite(value) else None


MOST_TRACK_BYTES = 256 * 2**20
"""Size of a file of tracks [bytes]: a million lines of twenty numbers."""


def read_table(path: str) -> TrackTable:
    """Read a file; raises InputError in one line."""
    return table_from(read_text(path, "tracks are CSV in UTF-8", MOST_TRACK_BYTES), path)


def table_from(source: str, file: str) -> TrackTable:
    """Return the table in a text; `file` names it in errors."""
    numbered = [
        (n, line)
        for n, line in enumerate(source.splitlines(), start=1)
        if line.strip() and not line.lstrip().startswith("#")
    ]
    if not numbered:
        raise InputError("is empty; a heading and one line a frame are due", file=file)
    sign = _sign([line for _, line in numbered])
    cells = [_fields(line, sign, n, file) for n, line in numbered]
    head = next((k for k, row in enumerate(cells[:3]) if _is_data(row)), min(len(cells), 3))
    if head == len(cells):
        raise InputError("has a heading and no frames", file=file)
    used = max(_used(row) for row in cells)
    if len(cells[0]) > used:
        cells = [row[: max(used, 1)] for row in cells]
    _even(cells, [n for n, _ in numbered], max(head - 1, 0), file)
    _short(cells[:head], [n for n, _ in numbered], file)
    headings, units = _headings(cells[:head], len(cells[-1]))
    rows = tuple(tuple(row) for row in cells[head:])
    return TrackTable(file, source, headings, units, rows, tuple(n for n, _ in numbered[head:]))


def _used(row: list[str]) -> int:
    """Cells up to the last that is not blank."""
    return next((n for n in range(len(row), 0, -1) if row[n - 1]), 0)


def _sign(lines: list[str]) -> str:
    """The sign between cells: the first candidate that every line has."""
    for sign in (";", "\t", ","):
        if all(sign in line for line in lines):
            return sign
    return ";" if any(";" in line for line in lines) else ","


def _is_data(row: list[str]) -> bool:
    """A row with a number in it, and no more texts than names a point."""
    kinds = [number(c) for c in row]
    found = sum(k is not None and k == k for k in kinds)
    return found >= 1 and sum(k is None for k in kinds) <= 1


def _even(cells: list[list[str]], lines: list[int], begin: int, file: str) -> None:
    wide = len(cells[begin])
    for row, line in zip(cells[begin:], lines[begin:], strict=True):
        while len(row) > wide and not row[-1]:
            row.pop()
        if len(row) < wide and not any(row[1:]):
            row.extend([""] * (wide - len(row)))
        if len(row) != wide:
            raise InputError(
                f"has {len(row)} cells where {wide} are due", file=file, key=f"line {line}"
            )


def _short(rows: list[list[str]], lines: list[int], file: str) -> None:
    """Refuse headings that nobody wrote by hand."""
    for row, line in zip(rows, lines, strict=False):
        long = max(map(len, row), default=0)
        if long > LONGEST_HEADING or len(row) > MOST_COLUMNS:
            raise InputError(
                f"has {len(row)} headings of up to {long} characters; at most {MOST_COLUMNS} of"
                f" {LONGEST_HEADING} are read",
                file=file,
                key=f"line {line}",
            )


def _headings(rows: list[list[str]], wide: int) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Join heading lines, part units from names; columns without a heading go by number."""
    names = [""] * wide
    for k, row in enumerate(rows):
        held = ""
        for i, cell in enumerate(row[:wide]):
            held = cell or (held if k < len(rows) - 1 else "")
            names[i] = f"{names[i]} {held}".strip()
    parted = [_UNIT.fullmatch(n) for n in names]
    plain = [
        (m[1] if m else n) or str(i + 1) for i, (n, m) in enumerate(zip(names, parted, strict=True))
    ]
    return tuple(plain), tuple(m[2] if m else "" for m in parted)


def _fields(line: str, sign: str, number: int, file: str) -> list[str]:
    """The cells of one line; raises InputError naming the line that cannot be parted."""
    try:
        return [cell.strip() for cell in next(csv.reader([line], delimiter=sign))]
    except csv.Error as error:
        raise InputError(f"cannot be read: {error}", file=file, key=f"line {number}") from None
