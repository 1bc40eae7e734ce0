"""`snapsim clip RUN.h5 -o CLIP.mp4`: the run as a 3-D animation."""

from __future__ import annotations

import re
from typing import Annotated

import typer

from snapsim.cli.options import AsJson, Force
from snapsim.cli.output import emit, emit_json
from snapsim.errors import InputError


def clip(
    run: Annotated[str, typer.Argument(metavar="RUN.h5", help="Run file written by release.")],
    output: Annotated[
        str, typer.Option("-o", "--output", metavar="CLIP.mp4", help="Clip to write.")
    ],
    size: Annotated[
        str, typer.Option(metavar="WIDTHxHEIGHT", help="Picture size in pixels, even numbers.")
    ] = "1280x720",
    fps: Annotated[int, typer.Option(help="Frames a second.")] = 60,
    slow_motion: Annotated[
        float | None,
        typer.Option(help="How many times slower round the first impact; 1 is real time."),
    ] = None,
    force: Force = False,
    json: AsJson = False,
) -> None:
    """Draw a run as a 3-D clip (H.264)."""
    width, height = _size(size)
    from snapsim.storage.whole_file import require_writable

    require_writable(output, force)
    import snapsim
    from snapsim.cli.progress import clip_progress

    trajectory = snapsim.read_run(run)
    from snapsim.render import ClipOptions

    options = ClipOptions(
        width=width, height=height, fps=fps, slow_motion=slow_motion, overwrite=force
    )
    with clip_progress() as progress:
        report = snapsim.render_clip(trajectory, output, options, progress)
    result = {
        "file": output,
        "frames": report.frames,
        "seconds": report.seconds,
        "size": list(report.size),
        "slow_motion": report.slow_motion,
        "milliseconds_per_frame": report.milliseconds,
    }
    if json:
        return emit_json(result)
    return emit(
        f"wrote {output}: {report.frames} frames, {report.seconds:.1f} s,"
        f" {report.size[0]} x {report.size[1]}"
    )


def _size(text: str) -> tuple[int, int]:
    match = re.fullmatch(r"\s*(\d{1,5})\s*[xX×]\s*(\d{1,5})\s*", text)
    if match is None:
        raise InputError(
            f'"{text}" is no size; write width and height, like 1280x720', key="--size"
        )
    return int(match[1]), int(match[2])
