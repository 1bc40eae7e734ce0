"""Tables at any width: no number is ever cut or broken over two lines.

A column gets at least its longest word, and a cell that is all numbers its whole width. Where that
is more than there is, the table is told row by row instead: a name, then a line a column.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from rich.cells import cell_len
from rich.console import Group
from rich.measure import Measurement
from rich.table import Column, Table
from rich.text import Text

if TYPE_CHECKING:
    from rich.console import Console, RenderableType

Widths = tuple[int, int]
"""The least and the natural width of a column [cells]."""


def fitted(what: RenderableType, console: Console) -> RenderableType:
    """Return what is to be printed with each table in it laid out for the console's width."""
    return laid_out(what, console)


def laid_out(what: RenderableType, console: Console) -> RenderableType:
    """The same, part by part of a group."""
    if isinstance(what, Group):
        return Group(*(laid_out(part, console) for part in what.renderables))
    if not isinstance(what, Table) or not what.columns:
        return what
    widths = [_column_widths(column, console) for column in what.columns]
    room = console.width - (3 * len(widths) + 1 if what.box is not None else len(widths))
    if sum(least for least, _ in widths) > room:
        return _told_by_row(what, console)
    for column, width in zip(what.columns, _shared(widths, room), strict=True):
        column.width = width
    return what


def _column_widths(column: Column, console: Console) -> Widths:
    found = [_cell_widths(cell, console) for cell in column.cells]
    heading = _cell_widths(column.header, console)
    return max(w for w, _ in (heading, *found)), max(w for _, w in (heading, *found))


def _cell_widths(cell: RenderableType, console: Console) -> Widths:
    """The least a cell may be narrowed to, and what it would like."""
    if not isinstance(cell, str | Text):
        measured = Measurement.get(console, console.options.update_width(1000), cell)
        return measured.minimum, measured.maximum
    text = _plain(cell)
    natural = max((cell_len(line) for line in text.splitlines()), default=0)
    if not any(c.isalpha() for c in text.replace("e+", "").replace("e-", "")):
        return natural, natural
    return max((cell_len(word) for word in text.split()), default=0), natural


def _plain(cell: str | Text) -> str:
    return (Text.from_markup(cell) if isinstance(cell, str) else cell).plain


def _shared(widths: list[Widths], room: int) -> list[int]:
    """Share what the least widths leave, a cell at a time, where most of the wish is unmet."""
    found = [least for least, _ in widths]
    for _ in range(room - sum(found)):
        wishes = [natural - have for (_, natural), have in zip(widths, found, strict=True)]
        most = max(range(len(found)), key=lambda i: wishes[i])
        if wishes[most] <= 0:
            break
        found[most] += 1
    return found


def _told_by_row(table: Table, console: Console) -> RenderableType:
    """The same as lines: the row's first cell, then heading and value of each other column."""
    headings = [" ".join(_text(column.header).plain.split()) for column in table.columns]
    cells = [list(column.cells) for column in table.columns]
    parts: list[RenderableType] = [_text(table.title)] if table.title else []
    for number, row in enumerate(table.rows):
        style = row.style or ""
        name = _text(cells[0][number])
        parts.append(Text.assemble((f"{headings[0]} ", "dim"), name, style=style))
        for heading, column in zip(headings[1:], cells[1:], strict=True):
            value = _text(column[number])
            if value.plain.strip():
                parts.append(_line(heading, value, style, console.width))
    return Group(*parts)


def _line(heading: str, value: Text, style: object, width: int) -> RenderableType:
    """Heading and value side by side, or one under the other where they do not fit."""
    said = Text.assemble((f"  {heading}: ", "dim"), value, style=str(style))
    longest = max(cell_len(line) for line in said.plain.splitlines())
    if longest <= width or any(c.isalpha() for c in value.plain):
        return said
    return Text.assemble((f"  {heading}:\n", "dim"), "    ", value, style=str(style))


def _text(cell: RenderableType | None) -> Text:
    if isinstance(cell, Text):
        return cell
    return Text.from_markup(str(cell or ""))
