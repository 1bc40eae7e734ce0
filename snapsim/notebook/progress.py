"""How far a long computation is, in a notebook or on a terminal."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from snapsim.work.progress import Progress


@contextmanager
def stages(shown: Progress | bool) -> Iterator[Progress | None]:
    """Yield what tells stage, done and of all: the caller's own function, a bar, or nothing."""
    if not isinstance(shown, bool):
        yield shown
    elif shown:
        with _bar() as tell:
            yield tell
    else:
        yield None


@contextmanager
def _bar() -> Iterator[Progress]:
    from rich.progress import BarColumn, MofNCompleteColumn, TextColumn, TimeElapsedColumn
    from rich.progress import Progress as Bar

    columns = TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn()
    with Bar(*columns, TimeElapsedColumn(), transient=True) as bar:
        task = bar.add_task("preparing", total=None)

        def tell(stage: str, done: int, of_all: int) -> None:
            bar.update(task, description=stage, completed=done, total=of_all)

        yield tell
