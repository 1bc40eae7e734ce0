"""Progress on standard error, and only where somebody watches it."""

from __future__ import annotations

import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

from snapsim.cli.voice import is_quiet, is_verbose, tell

if TYPE_CHECKING:
    from snapsim.study.sweep import Standing


def _unwatched() -> bool:
    """Is there no bar to draw: nobody watches, or nobody wants one?"""
    return is_quiet() or not sys.stderr.isatty()


def _tenths(name: str, unit: str = "") -> Callable[[float, float], None] | None:
    """What tells every tenth as a line, where more is to be told; None elsewhere."""
    return _lines(unit, name) if is_verbose() else None


def _lines(unit: str, name: str = "") -> Callable[..., None]:
    passed: set[tuple[str, int]] = set()

    def say(done: float, of_all: float, stage: str = name) -> None:
        tenth = (stage, int(10 * done / of_all) if of_all else 0)
        if tenth not in passed:
            passed.add(tenth)
            tell(f"{stage}: {done:.3g} of {of_all:.3g}{unit}")

    return say


_REFRESH = 0.1
"""Seconds between redraws: the computation calls far more often."""


def _compile_first(*needed: str) -> None:
    """Compile, where this installation is new, before a bar is drawn: it has a line of its own."""
    from snapsim.run.first_use import prepare

    prepare(*needed)


@contextmanager
def release_progress(duration: float) -> Iterator[Callable[[float, float], None] | None]:
    """Yield a callback for `release` that shows simulated time and speed, or None off screen."""
    if _unwatched():
        told = _tenths("release", " s simulated")
        yield None if told is None else lambda simulated, _: told(simulated, duration)
        return
    _compile_first()
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn

    columns = (
        BarColumn(),
        TextColumn("{task.completed:.3f} of {task.total:g} s simulated"),
        TextColumn("{task.fields[speed]:.2f} m/s"),
        TimeElapsedColumn(),
        TextColumn("{task.fields[phase]}"),
    )
    with Progress(*columns, console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task("release", total=duration, speed=0.0, phase="preparing")
        last = 0.0

        def show(simulated: float, speed: float) -> None:
            nonlocal last
            now = time.monotonic()
            if now - last >= _REFRESH and simulated > 0:
                last = now
                bar.update(task, completed=simulated, speed=speed, phase="")

        yield show


@contextmanager
def stage_progress(*needed: str) -> Iterator[Callable[[str, int, int], None] | None]:
    """Yield a callback that shows a stage and how far it is, or None off screen.

    `needed` are the parts of the program that it calls, all where none is named.
    """
    if _unwatched():
        told = _lines("") if is_verbose() else None
        yield None if told is None else lambda stage, done, of_all: told(done, of_all, stage)
        return
    _compile_first(*needed)
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeElapsedColumn

    columns = (
        TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn(), TimeElapsedColumn(),
    )  # fmt: skip
    with Progress(*columns, console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task("preparing", total=None)

        def show(stage: str, done: int, of_all: int) -> None:
            bar.update(task, description=stage, completed=done, total=of_all)

        yield show


@contextmanager
def clip_progress() -> Iterator[Callable[[int, int], None] | None]:
    """Yield a callback for `render_clip` that shows frames done, or None off screen."""
    if _unwatched():
        yield _tenths("frames")
        return
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TimeRemainingColumn

    columns = (BarColumn(), MofNCompleteColumn(), TimeRemainingColumn())
    with Progress(*columns, console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task("clip", total=None)

        def show(done: int, of_all: int) -> None:
            bar.update(task, completed=done, total=of_all)

        yield show


@contextmanager
def sweep_progress() -> Iterator[Callable[[Standing], None] | None]:
    """Yield a callback that shows rate, time left and the chances so far, or None off screen."""
    if _unwatched():
        told = _tenths("runs")
        yield None if told is None else lambda standing: told(standing.done, standing.total)
        return
    _compile_first()
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn

    columns = (BarColumn(), MofNCompleteColumn(), TextColumn("{task.fields[said]}"))
    with Progress(*columns, console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task("sweep", total=None, said="preparing")

        def show(standing: Standing) -> None:
            bar.update(task, completed=standing.done, total=standing.total, said=_said(standing))

        yield show


def _said(standing: Standing) -> str:
    """Rate, time left, and what share of the runs done did what counts."""
    sound = max(1, standing.statuses["done"])
    shares = [f"{k.replace('_', ' ')} {100 * n / sound:.0f} %" for k, n in standing.flags.items()]
    left = f"{standing.left:.0f} s left" if standing.rate else ""
    alone = f"coarse first left out: {standing.left_out}" if standing.left_out else ""
    return "  ".join(filter(None, [f"{standing.rate:.2f}/s", left, *shares, alone]))
