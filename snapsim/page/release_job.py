"""Letting go, as work for a lane: the run file is written, and the run comes back to be played."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from snapsim.page.jobs import Report
from snapsim.page.playback import playback


def release_work(given: dict[str, Any], report: Report) -> dict[str, Any]:
    """Release the scene `text` with `changes`, and a twin that says which of its figures repeat,
    and write its run file to `path`."""
    import snapsim
    from snapsim.scenario.loading import scene_from_text

    report(0.0, "preparing")
    system = scene_from_text(given["text"], given["file"], given["changes"])

    def progress(time: float, speed: float) -> None:
        report(time / system.duration, f"{time:.3f} s of {system.duration:g} s, {speed:.2f} m/s")

    run = snapsim.release(system, progress, twins=1)
    snapsim.write_run(run, Path(given["path"]), force=True)
    return playback(run)


def load_work(given: dict[str, Any], report: Report) -> dict[str, Any]:
    """Read the run file at `path` to be played."""
    import snapsim

    report(0.0, "reading the run")
    return playback(snapsim.read_run(given["path"]))


def differ_work(given: dict[str, Any], report: Report) -> dict[str, Any]:
    """Return "headings" that say what sets each of the run files `runs` apart from the others."""
    import snapsim
    from snapsim.render.differences import differences

    report(0.0, "reading the runs")
    return {"headings": differences([snapsim.read_run(path).system for path in given["runs"]])}
