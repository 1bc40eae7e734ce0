"""`snapsim clip RUN.h5 -o CLIP.mp4`: the run as a 3-D animation."""

from __future__ import annotations

import os
import re
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from snapsim.cli.options import AsJson, ReplaceFlag
from snapsim.cli.output import complain, emit, emit_json
from snapsim.errors import InputError
from snapsim.extras import require_extra
from snapsim.work.memory import memory_at_hand

if TYPE_CHECKING:
    from collections.abc import Callable

    from snapsim.render import ClipOptions, ClipReport
    from snapsim.render.reel import FramesProgress
    from snapsim.simulation.trajectory import Trajectory

MOST_GHOSTS = 40
PROCESS, PIXEL = 500e6, 350
"""Bytes that a drawing process takes, its encoder too, and for each pixel of the picture."""
SHAPES = {"16:9": (16, 9), "9:16": (9, 16), "1:1": (1, 1)}
HEIGHTS = {"360p": 360, "540p": 540, "720p": 720, "1080p": 1080, "1440p": 1440, "4k": 2160}


ClipTarget = Annotated[
    str,
    typer.Option(
        "-o",
        "--output",
        metavar="CLIP",
        help="Clip to write: .mp4, .webm, .gif, .mov (ProRes 4444), or a new folder of PNG"
        " pictures; with --still a .png.",
    ),
]
ClipRuns = Annotated[
    list[str] | None,
    typer.Argument(metavar="RUN.h5...", help="Run files; several are shown side by side."),
]
ClipSize = Annotated[
    str | None,
    typer.Option(
        metavar="SIZE", help="Like 1080p, 4k, 1080p-9:16, 720p-1:1, or WIDTHxHEIGHT in pixels."
    ),
]
ClipFps = Annotated[
    str | None,
    typer.Option(help="Frames a second; 60, and 25 for a GIF. 29.97 is 30000/1001, and so on."),
]
ClipStory = Annotated[
    str | None,
    typer.Option(
        metavar="FILE",
        help="Join shots to one film by a storyboard (TOML), or make a ready one of a scene.",
    ),
]
ClipWhatIf = Annotated[
    list[str] | None,
    typer.Option(
        metavar="KEY=VALUE", help="What the ready film of a scene compares with. Repeatable."
    ),
]
ClipSlow = Annotated[
    float | None,
    typer.Option(help="Tell it once, so many times slower round the first impact; 1 is real time."),
]
ClipCamera = Annotated[
    str, typer.Option(help="near, close-up, fixed, orbit or follow, or a file of shots (TOML).")
]
ClipView = Annotated[
    str | None, typer.Option(metavar="AZIMUTH,ELEVATION", help="Direction of view [deg].")
]
ClipReplay = Annotated[
    str, typer.Option(help="Camera of the second, slow telling: as --camera; none: told once.")
]
ClipFreeze = Annotated[float, typer.Option(help="Seconds the picture stands at the impact.")]
ClipLayer = Annotated[
    list[str] | None, typer.Option(metavar="NAME", help="Show a layer besides. Repeatable.")
]
ClipWithout = Annotated[
    list[str] | None,
    typer.Option(metavar="NAME", help="Leave a layer out, or cards. Repeatable."),
]
ClipAlign = Annotated[
    str, typer.Option(help="Bring several runs in step at their release or impact.")
]
ClipEnsemble = Annotated[
    list[str] | None,
    typer.Option(
        metavar="RUNS", help="Run files or folders of them: their ways as a fan, and how many snap."
    ),
]
ClipCaptions = Annotated[bool, typer.Option(help="Write CLIP.srt and CLIP.vtt too.")]
ClipMarkers = Annotated[
    bool, typer.Option(help="Write CLIP.otio too: markers for an editor of what happens when.")
]
ClipSound = Annotated[
    bool,
    typer.Option(
        help="Let blows be heard: clicks as loud as their impulses (beside pictures and GIF a WAV"
        " file)."
    ),
]
ClipPasses = Annotated[
    bool,
    typer.Option(
        help="CLIP is a new folder: plate, clean, part, lines, words and caution each as see-"
        "through pictures of their own."
    ),
]
ClipPoster = Annotated[
    str | None, typer.Option(metavar="FILE.png", help="Write the impact as a picture too.")
]
ClipStill = Annotated[
    str | None,
    typer.Option(metavar="TIME", help='Only a picture, at "0.12 s", release, impact or end.'),
]
ClipRough = Annotated[bool, typer.Option(help="No supersampling: quicker, rougher edges.")]
ClipWorkers = Annotated[
    int | None, typer.Option(help="Processes that draw; one for every core, at most 4.")
]


def clip(
    output: ClipTarget,
    runs: ClipRuns = None,
    size: ClipSize = None,
    fps: ClipFps = None,
    story: ClipStory = None,
    what_if: ClipWhatIf = None,
    slow_motion: ClipSlow = None,
    camera: ClipCamera = "near",
    view: ClipView = None,
    replay: ClipReplay = "close-up",
    freeze: ClipFreeze = 1.2,
    layer: ClipLayer = None,
    without: ClipWithout = None,
    align: ClipAlign = "release",
    ensemble: ClipEnsemble = None,
    captions: ClipCaptions = False,
    markers: ClipMarkers = False,
    sound: ClipSound = False,
    passes: ClipPasses = False,
    poster: ClipPoster = None,
    still: ClipStill = None,
    rough: ClipRough = False,
    workers: ClipWorkers = None,
    force: ReplaceFlag = False,
    json: AsJson = False,
) -> None:
    """Draw a run as a 3-D film: in real time, then slow where something happens, in few words."""
    require_extra("clip", "a clip")
    named = _runs_of(runs, story, what_if)
    if story is not None:
        return _story(
            story, output, what_if or [], size, fps, workers, force, captions, sound, json
        )
    options = _timed(slow_motion, freeze, align, rough, force)
    options = _framed(options, size, fps or _usual_rate(output), workers)
    see_through = Path(output).suffix.lower() in (".mov", "") and not still
    options = _layered(options, layer or [], without or [], see_through, passes)
    options = _filmed(options, camera, replay, view)
    _refuse_early(output, options, still)
    shown = [_read(name) for name in named]
    others = [_read(name) for name in _ensemble_files(ensemble or (), named)]
    if passes:
        return _passes(shown, output, options, json)
    if still is not None:
        return _still(shown, others, still, output, options, json)
    return _clip(shown, others, output, options, captions, markers, sound, poster, json)


def _runs_of(runs: list[str] | None, story: str | None, what_if: list[str] | None) -> list[str]:
    """The run files named, none where a storyboard names its own; raises InputError."""
    if story is not None:
        if runs:
            raise InputError("goes without run files: it names its own", key="--story")
        return []
    if what_if:
        raise InputError("goes with --story SCENE.toml only", key="--what-if")
    if not runs:
        raise InputError("is missing; name a run file, or --story FILE", key="RUN.h5")
    return runs


def _timed(
    slow_motion: float | None, freeze: float, align: str, rough: bool, force: bool
) -> ClipOptions:
    from snapsim.render import ClipOptions

    return ClipOptions(
        slow_motion=slow_motion,
        freeze=freeze,
        align=align,  # type: ignore[arg-type]  # checked with all the others
        supersample=not rough,
        overwrite=force,
    )


def _usual_rate(output: str) -> str | None:
    """Frames a second of a GIF, whose pictures' times are whole hundredths of a second."""
    return "25" if output.lower().endswith(".gif") else None


def _framed(
    options: ClipOptions, size: str | None, fps: str | None, workers: int | None
) -> ClipOptions:
    """Options with the size and the rate that are asked for, where they are, and the workers."""
    from snapsim.render.rates import rate_of

    width, height = parse_size(size) if size else (options.width, options.height)
    rate = rate_of(fps, "--fps") if fps else options.fps
    count = workers or drawing_processes(width, height, _cores(), memory_at_hand())
    return replace(options, width=width, height=height, fps=rate, workers=count)


def _layered(
    options: ClipOptions, shown: list[str], hidden: list[str], see_through: bool, passes: bool
) -> ClipOptions:
    """Options with the layers asked for: a see-through picture has no stage, words and caution of
    its own, and cards only with them."""
    from snapsim.render import layers_of

    veils = {"stage", "words", "caution"}
    left_out = [name for name in hidden if name != "cards"]
    if see_through and not passes:
        left_out += sorted(veils - set(shown))
    bare = see_through and not veils & set(shown)
    cards = "cards" not in hidden and not bare
    return replace(options, layers=layers_of(shown, left_out), cards=cards)


def _filmed(options: ClipOptions, camera: str, replay: str, view: str | None) -> ClipOptions:
    """Options with the cameras of the telling and of the replay."""
    from snapsim.cli.shot_file import shot_of

    shot = shot_of(camera, "--camera", 0)
    again = None if replay == "none" else shot_of(replay, "--replay", 1)
    if view is not None:
        shot = replace(shot, view=_direction(view))
    return replace(options, shot=shot, replay=again)


def _story(
    file: str,
    output: str,
    what_if: list[str],
    size: str | None,
    fps: str | None,
    workers: int | None,
    force: bool,
    captions: bool,
    sound: bool,
    json: bool,
) -> None:
    from snapsim.cli.story import board_of
    from snapsim.render import add_story_sound, render_story, write_story_captions

    board = board_of(file, output, what_if, force, parse_size)
    options = replace(_framed(board.options, size, fps, workers), overwrite=force)
    board = replace(board, options=options)
    besides = [str(p) for p in write_story_captions(board, Path(output))] if captions else []
    return _drawn(
        lambda progress: render_story(board, Path(output), progress),
        output,
        besides,
        json,
        (lambda: add_story_sound(board, Path(output))) if sound else None,
    )


def _clip(
    shown: list[Trajectory],
    others: list[Trajectory],
    output: str,
    options: ClipOptions,
    captions: bool,
    markers: bool,
    sound: bool,
    poster: str | None,
    json: bool,
) -> None:
    from snapsim.render import (
        add_sound,
        render_clip,
        render_still,
        write_captions,
        write_markers,
    )

    besides = []
    if poster is not None:
        at = _time_of("impact", shown[0])
        render_still(shown, at, Path(poster), options, others)
        besides.append(poster)
    if captions:
        besides += [str(path) for path in write_captions(shown, Path(output), options)]
    if markers:
        besides.append(str(write_markers(shown, Path(output), options)))
    return _drawn(
        lambda progress: render_clip(shown, Path(output), options, progress, others),
        output,
        besides,
        json,
        (lambda: add_sound(shown, Path(output), options)) if sound else None,
    )


def _drawn(
    draw: Callable[[FramesProgress | None], ClipReport],
    output: str,
    besides: list[str],
    json: bool,
    heard: Callable[[], Path] | None,
) -> None:
    """Draw a film, let it be heard if asked for, and say what was drawn."""
    from snapsim.cli.progress import clip_progress

    try:
        with clip_progress() as progress:
            report = draw(progress)
    except KeyboardInterrupt:
        complain(f"{output}: stopped; what is drawn is kept, the same command goes on from there")
        raise
    there = str(heard()) if heard is not None else output
    besides = besides if there == output else [*besides, there]
    if json:
        return emit_json("clip", _result(report, output, besides))
    return emit("\n".join(_told(report, output, besides)))


def _passes(shown: list[Trajectory], output: str, options: ClipOptions, json: bool) -> None:
    from snapsim.cli.progress import clip_progress
    from snapsim.render.passes import render_passes

    with clip_progress() as progress:
        made = [str(p) for p in render_passes(shown, Path(output), options, progress=progress)]
    if json:
        return emit_json("clip-passes", {"folders": made})
    return emit("\n".join(f"wrote {name}" for name in made))


def _told(report: ClipReport, output: str, besides: list[str]) -> list[str]:
    lines = [
        f"wrote {output}: {report.frames} frames, {report.seconds:.1f} s,"
        f" {report.size[0]} x {report.size[1]}"
    ]
    if report.kept:
        lines.append(f"{report.kept} frames were there from an earlier, interrupted run")
    if report.flashes > 3:
        lines.append(
            f"warning: {report.flashes} flashes within a second; more than 3 can harm viewers"
        )
    return lines + [f"wrote {name}" for name in besides]


def _result(report: ClipReport, output: str, besides: list[str]) -> dict[str, Any]:
    return {
        "file": output,
        "frames": report.frames,
        "seconds": report.seconds,
        "size": list(report.size),
        "slow_motion": report.slow_motion,
        "milliseconds_per_frame": report.milliseconds,
        "milliseconds_by_stage": dict(report.breakdown),
        "frames_kept": report.kept,
        "most_flashes_a_second": report.flashes,
        "besides": besides,
    }


def _still(
    shown: list[Trajectory],
    others: list[Trajectory],
    still: str,
    output: str,
    options: ClipOptions,
    json: bool,
) -> None:
    from snapsim.render import render_still

    at = _time_of(still, shown[0])
    render_still(shown, at, Path(output), options, others)
    if json:
        return emit_json(
            "still", {"file": output, "time_s": at, "size": [options.width, options.height]}
        )
    return emit(f"wrote {output}: the run at {at:.4g} s")


def parse_size(text: str) -> tuple[int, int]:
    """Return width and height [pixels] of a size in words or numbers; raises InputError."""
    found = re.fullmatch(r"\s*(\d{1,5})\s*[xX×]\s*(\d{1,5})\s*", text)
    if found is not None:
        return int(found[1]), int(found[2])
    height, _, shape = text.strip().lower().partition("-")
    if height in HEIGHTS and (not shape or shape in SHAPES):
        across, up = SHAPES[shape or "16:9"]
        short = HEIGHTS[height]
        long = 2 * round(short * max(across, up) / min(across, up) / 2)
        return (long, short) if across > up else (short, long)
    raise InputError(
        f'"{text}" is no size; write width and height, like 1280x720, or one of'
        f" {', '.join(HEIGHTS)}, with -9:16 or -1:1 for tall and square pictures",
        key="--size",
    )


def _direction(text: str) -> tuple[float, float]:
    parts = text.replace("deg", "").split(",")
    try:
        azimuth, elevation = (float(part) for part in parts)
    except ValueError:
        raise InputError(
            f'"{text}" is no direction; write azimuth and elevation in degrees, like -60,20',
            key="--view",
        ) from None
    return azimuth, elevation


def _refuse_early(output: str, options: ClipOptions, still: str | None) -> None:
    """Refuse what cannot be drawn before a run file is read."""
    from snapsim.render.formats import format_of
    from snapsim.render.options import check_options
    from snapsim.render.targets import check_target

    check_options(options)
    suffix = ".png" if still is not None else format_of(Path(output)).suffix
    check_target(Path(output), suffix, options.overwrite)


def _read(name: str) -> Trajectory:
    import snapsim

    return snapsim.read_run(name)


def _ensemble_files(names: list[str] | tuple[()], shown: list[str]) -> list[str]:
    """Run files of the ensemble, folders opened, without those that are shown anyway."""
    found = []
    for name in names:
        inside = sorted(str(p) for p in Path(name).rglob("*.h5")) if Path(name).is_dir() else [name]
        if not inside:
            raise InputError("holds no run files; make them with sweep --keep all", file=name)
        found += inside
    found = [name for name in found if name not in shown]
    if len(found) > MOST_GHOSTS:
        complain(
            f"{len(found)} runs in the ensemble: every {-(-len(found) // MOST_GHOSTS)}th shown"
        )
        found = found[:: -(-len(found) // MOST_GHOSTS)]
    return found


def _time_of(text: str, run: Trajectory) -> float:
    """Return the simulated time [s] of a picture asked for in words."""
    from snapsim.render.readings import first_blow
    from snapsim.scenario import quantities

    if text in ("release", "end"):
        return float(run.time[0] if text == "release" else run.time[-1])
    if text == "impact":
        blow = first_blow(run)
        return blow.time if blow is not None else float(run.time[-1])
    try:
        return quantities.parse(text, quantities.TIME)[0]
    except ValueError as error:
        raise InputError(f'{error}; or one of "release", "impact", "end"', key="--still") from None


def drawing_processes(width: int, height: int, cores: int, at_hand: int | None) -> int:
    """Return how many processes draw pictures of this size [pixels]: one a core, as long as all of
    them fit into four fifths of the memory `at_hand` [bytes]."""
    each = PROCESS + PIXEL * width * height
    room = cores if at_hand is None else int(0.8 * at_hand / each)
    return max(1, min(cores, room))


def _cores() -> int:
    return max(1, min(4, len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else 2))
