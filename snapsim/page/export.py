"""What leaves the page as files, as work for a lane: a clip, and one run as one HTML file."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from snapsim.page.jobs import Report


def clip_work(given: dict[str, Any], report: Report) -> dict[str, Any]:
    """Draw the run file at `run` as a clip at `path`."""
    import snapsim
    from snapsim.render import ClipOptions

    report(0.0, "preparing")
    options = ClipOptions(width=given["width"], height=given["height"], fps=30, overwrite=True)
    snapsim.render_clip(
        given["run"],
        Path(given["path"]),
        options,
        lambda done, of: report(done / of, f"frame {done} of {of}"),
    )
    return {"path": given["path"]}


def html_work(given: dict[str, Any], report: Report) -> dict[str, Any]:
    """Write the run file at `run` as one HTML file at `path`."""
    import snapsim
    from snapsim.page.one_run import write_one_run

    report(0.0, "writing")
    write_one_run(snapsim.read_run(given["run"]), Path(given["path"]), overwrite=True)
    return {"path": given["path"]}
