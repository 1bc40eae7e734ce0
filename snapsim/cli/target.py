"""Where a command's results go: a file that is checked before anything is computed, and screen."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from snapsim.cli.output import emit, emit_json

if TYPE_CHECKING:
    from snapsim.render.plots import Plot


@dataclass(frozen=True)
class Target:
    """A file to write (None: none), its style, whether it may replace another, JSON on screen.

    `more` are the endings it may have besides those of pictures. Raises InputError and OutputError.
    """

    path: str | None
    style: str
    force: bool
    json: bool
    more: tuple[str, ...] = (".csv",)

    def __post_init__(self) -> None:
        if self.path is None:
            return
        from snapsim.render.plots import ending_of, style_named
        from snapsim.storage.whole_file import require_writable

        ending_of(self.path, self.more)
        style_named(self.style)
        require_writable(self.path, self.force)

    def write(self, plot: Plot, rows: Callable[[], str] | None = None) -> None:
        """Write the CSV or the plot, whole or not at all."""
        from snapsim.render.plots import PlotOptions, ending_of, save, style_named
        from snapsim.storage.whole_file import whole_file

        assert self.path is not None
        ending = ending_of(self.path, self.more)
        with whole_file(self.path, self.force) as path:
            if ending == ".csv" and rows is not None:
                path.write_text(rows(), encoding="utf-8")
            else:
                save(path, plot, PlotOptions(style_named(self.style)), ending)

    def say(
        self, what: str, result: dict[str, Any], table: Callable[[dict[str, Any]], Any]
    ) -> None:
        """Print the result, an object of `what`."""
        if self.json:
            return emit_json(what, result)
        emit(table(result))
        return emit(f"wrote {self.path}") if self.path is not None else None
