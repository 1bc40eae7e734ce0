"""`snapsim match FILE TRACK.csv`: tracked footage laid over the computed motion."""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from snapsim.cli.options import AsJson, Changes, ReplaceFlag, Style
from snapsim.cli.output import emit, emit_json, emit_schema
from snapsim.errors import InputError
from snapsim.extras import require_extra

if TYPE_CHECKING:
    from rich.console import RenderableType

    from snapsim.footage.fit.fitting import FitResult
    from snapsim.footage.match_file import MatchFile
    from snapsim.footage.matching import Filmed
    from snapsim.footage.overlay import TrackOverlay
    from snapsim.simulation.trajectory import Trajectory

_POINT = re.compile(r"(?:([^=]+)=)?([^:]+)(?::(.+))?")


MatchedFile = Annotated[str, typer.Argument(metavar="FILE", help="Scene (TOML) or run file.")]
MatchTrack = Annotated[str, typer.Argument(metavar="TRACK.csv", help="Tracked points.")]
MatchOptions = Annotated[
    str | None, typer.Option("--with", metavar="MATCH.toml", help="Match file: camera, points.")
]
MatchOutput = Annotated[
    str | None, typer.Option("-o", "--output", metavar="DIR", help="Directory of results.")
]
MatchFps = Annotated[float | None, typer.Option(help="Frames a second of the footage.")]
MatchScale = Annotated[str | None, typer.Option(help='Pixels per length: "4 px/mm".')]
MatchOrigin = Annotated[
    str | None, typer.Option(help='Where the scene\'s origin is seen: "320, 460 px".')
]
MatchY = Annotated[str | None, typer.Option(help="Does y count up or down?")]
MatchReleased = Annotated[
    str | None, typer.Option(help='When, in the footage, it was let go: "0.2 s".')
]
MatchUntil = Annotated[
    str | None, typer.Option(help='Compare until this time after release: "0.3 s".')
]
MatchPoint = Annotated[
    list[str] | None,
    typer.Option(metavar="NAME=BODY:X,Y,Z", help='What a track follows: "rim=blank: 0, 0, 9 mm".'),
]
MatchFit = Annotated[
    list[str] | None,
    typer.Option(
        metavar="KEY=FROM..TO", help='Fit a key of the scene: contact.friction="0.1..0.6".'
    ),
]
MatchLayOnly = Annotated[
    bool, typer.Option("--lay-only", help="Fit nothing, whatever the match file says.")
]
MatchDetail = Annotated[
    str | None, typer.Option(help="Cells of a fit's last step: draft, normal or fine.")
]
MatchWorkers = Annotated[int, typer.Option(min=1, max=256, help="Processes of a fit.")]
MatchClip = Annotated[
    str | None, typer.Option(metavar="CLIP.mp4", help="Write the overlay as a clip.")
]
MatchOver = Annotated[
    str | None, typer.Option(metavar="FILE", help="Picture or video behind the overlay.")
]
MatchMakeTrack = Annotated[
    bool, typer.Option("--make-track", help="Write TRACK.csv: synthetic footage of FILE.")
]
MatchSeed = Annotated[int | None, typer.Option(min=0, help="Seed of synthetic footage.")]
MatchSchema = Annotated[
    bool, typer.Option("--schema", help="Print the JSON Schema of match files; no FILE.")
]


def match(
    file: MatchedFile = "",
    track: MatchTrack = "",
    options: MatchOptions = None,
    output: MatchOutput = None,
    fps: MatchFps = None,
    scale: MatchScale = None,
    origin: MatchOrigin = None,
    y: MatchY = None,
    released: MatchReleased = None,
    until: MatchUntil = None,
    point: MatchPoint = None,
    fit: MatchFit = None,
    lay_only: MatchLayOnly = False,
    detail: MatchDetail = None,
    workers: MatchWorkers = 1,
    clip: MatchClip = None,
    over: MatchOver = None,
    make_track: MatchMakeTrack = False,
    seed: MatchSeed = None,
    schema: MatchSchema = False,
    style: Style = "light",
    force: ReplaceFlag = False,
    json: AsJson = False,
    changes: Changes = None,
) -> None:
    """Lay tracked footage over the motion: does it match, and what were the unknowns?"""
    if schema:
        from snapsim.footage.match_file import match_schema

        return emit_schema(match_schema())
    if not file or not track:
        raise InputError("name a scene or run and a track file, or ask for --schema", key="FILE")
    from snapsim.footage.match_file import load_match, match_from
    from snapsim.render.plots import style_named

    style_named(style)
    document = load_match(options) if options is not None else {}
    _overrule(document, fps, scale, origin, y, released, until, point, seed, detail)
    _ask_for(document, fit, lay_only)
    given = match_from(document, options or "options")
    if make_track:
        return _make(file, track, given, options or "options", force, json, tuple(changes or ()))
    what = _What(
        file,
        track,
        given,
        options or "options",
        output,
        style,
        json,
        tuple(changes or ()),
        clip,
        over,
    )
    _check_targets(what, force)
    return _fit(what, workers) if given.fit else _lay(what)


@dataclass(frozen=True)
class _What:
    """What was asked for."""

    file: str
    track: str
    given: MatchFile
    named: str
    output: str | None
    style: str
    json: bool
    changes: tuple[str, ...]
    clip: str | None
    over: str | None


def _check_targets(what: _What, force: bool) -> None:
    """Refuse before any work what could not be written or read after it."""
    if what.clip is not None:
        require_extra("clip", "a film", key="--clip")
    from snapsim.footage.backdrop import first_frame
    from snapsim.render.formats import format_of
    from snapsim.render.targets import check_target
    from snapsim.storage.whole_file import require_folder

    if what.output is not None:
        require_folder(what.output)
    if what.clip is not None:
        path = Path(what.clip)
        if format_of(path).suffix in ("", ".mov"):
            raise InputError(f"{path}: the name must end in .mp4, .webm or .gif", key="--clip")
        check_target(path, path.suffix.lower(), force)
    if what.over is not None:
        first_frame(what.over)


def _overrule(
    document: dict[str, Any],
    fps: float | None,
    scale: str | None,
    origin: str | None,
    y: str | None,
    released: str | None,
    until: str | None,
    point: list[str] | None,
    seed: int | None,
    detail: str | None,
) -> None:
    """Put what options say in place of what the match file says."""
    for table, key, value in (
        ("time", "frame_rate", None if fps is None else f"{fps!r} Hz"),
        ("time", "release", released),
        ("view", "scale", scale),
        ("view", "origin", origin),
        ("view", "y", y),
        ("fitting", "until", until),
        ("fitting", "finish", detail),
        ("make", "seed", seed),
    ):
        if value is not None and isinstance(document.setdefault(table, {}), dict):
            document[table][key] = value
    if point:
        document["track"] = [_point(text) for text in point]


def _ask_for(document: dict[str, Any], fit: list[str] | None, lay_only: bool) -> None:
    """Put what options say to fit in place of the match file's [fit]."""
    from snapsim.scenario.spans import read_span

    if lay_only:
        document.pop("fit", None)
    elif fit:
        spans = [read_span(text, "--fit") for text in fit]
        ends = {s.key: [s.text(s.low), s.text(s.high)] for s in spans}
        document["fit"] = {
            s.key: {"between": ends[s.key] if s.unit else [s.low[0], s.high[0]]} for s in spans
        }


def _point(text: str) -> dict[str, Any]:
    match = _POINT.fullmatch(text)
    if match is None:
        raise InputError(f'"{text}" is no point; write NAME=BODY: x, y, z mm', key="--point")
    name, body, at = (part.strip() if part else None for part in match.groups())
    return {k: v for k, v in (("point", name), ("body", body), ("at", at)) if v is not None}


def _make(
    file: str,
    track: str,
    given: MatchFile,
    named: str,
    force: bool,
    json: bool,
    changes: tuple[str, ...],
) -> None:
    """Write synthetic footage."""
    from snapsim.footage.matching import make_tracks
    from snapsim.storage.whole_file import require_writable, whole_file

    require_writable(track, force)
    run = _run(file, changes)
    text = make_tracks(run, given, named)
    with whole_file(track, force) as path:
        path.write_text(text, encoding="utf-8")
    frames = len(text.splitlines()) - 2
    result = {"file": track, "frames": frames, "points": len(given.track), "seed": given.make.seed}
    if json:
        return emit_json("match-make", result)
    return emit(f"wrote {track}: {frames} frames, {len(given.track)} points, synthetic")


def _lay(what: _What) -> None:
    """Lay the tracks over the motion as the scene has it."""
    from snapsim.footage.matched import lay_footage
    from snapsim.footage.summary import match_table

    filmed, run = _filmed(what.file, what.track, what.given, what.named, what.changes)
    found, result = lay_footage(filmed, what.given, run)
    if what.output is not None:
        _write(Path(what.output), found, result, what.style, filmed.unit, what.over)
    _film(what, found, run.system.title, filmed.unit)
    _show(what, result, match_table(result))


def _fit(what: _What, workers: int) -> None:
    """Fit, and lay the tracks over the motion with the fitted values."""
    from rich.console import Group

    from snapsim.cli.progress import stage_progress
    from snapsim.footage.fit.summary import fit_table
    from snapsim.footage.matched import fit_and_lay
    from snapsim.footage.summary import match_table

    filmed = _read(what)
    given = (what.file, filmed, what.given, what.named, what.changes, workers)
    with stage_progress() as progress:
        fitted, found, result = fit_and_lay(*given, progress)
    if what.output is not None:
        _write(Path(what.output), found, result, what.style, filmed.unit, what.over)
        _write_fitted(Path(what.output), fitted, what.track)
    _film(what, found, result["title"], filmed.unit)
    _show(what, result, Group(fit_table(result["fit"]), match_table(result)))


def _film(what: _What, found: TrackOverlay, title: str, unit: str) -> None:
    """Write the overlay as a clip, where one is asked for."""
    if what.clip is None:
        return
    from snapsim.cli.progress import clip_progress
    from snapsim.footage.clip import write_clip

    with clip_progress() as progress:
        write_clip(found, Path(what.clip), title, unit, what.over, progress=progress)


def _show(what: _What, result: dict[str, Any], table: RenderableType) -> None:
    if what.json:
        return emit_json("match", result)
    emit(table)
    wrote = [w for w in (what.output, what.clip) if w is not None]
    return emit(f"wrote {' and '.join(wrote)}") if wrote else None


def _read(what: _What) -> Filmed:
    """Footage for a fit, checked against the scene."""
    import snapsim
    from snapsim.footage.matching import read_footage, require_long_enough

    if _is_run(what.file):
        raise InputError("a run file has no unknowns; name its scene", file=what.file, key="fit")
    scene = snapsim.load_scene(what.file, what.changes)
    filmed = read_footage(what.track, what.given, what.named, [b.name for b in scene.bodies])
    kept = f'make it longer (--set run.duration="{_rounded(filmed, what.given)} s")'
    require_long_enough(filmed, what.given, scene.duration, what.file, kept)
    return filmed


def _write_fitted(folder: Path, fitted: FitResult, track: str) -> None:
    from snapsim.footage.fit.written import NAME, STUDY, fitted_scene, fitted_study
    from snapsim.storage.whole_file import whole_file

    study = fitted_study(fitted, track)
    for name, text in ((NAME, fitted_scene(fitted, folder.absolute(), track)), (STUDY, study)):
        if text is not None:
            with whole_file(folder / name, True) as path:
                path.write_text(text, encoding="utf-8")


def _filmed(
    file: str, track: str, given: MatchFile, named: str, changes: tuple[str, ...]
) -> tuple[Filmed, Trajectory]:
    """Read everything, check it, and compute the run."""
    import snapsim
    from snapsim.footage.matching import as_long_as, read_footage, require_long_enough

    if _is_run(file):
        run = _run(file, changes)
        names = [b.name for b in run.system.bodies]
        filmed = read_footage(track, given, named, names)
        kept = "compute a longer run"
        require_long_enough(filmed, given, float(run.time[-1]), file, kept)
        return filmed, run
    scene = snapsim.load_scene(file, changes)
    filmed = read_footage(track, given, named, [b.name for b in scene.bodies])
    kept = f'make it longer (--set run.duration="{_rounded(filmed, given)} s")'
    require_long_enough(filmed, given, scene.duration, file, kept)
    return filmed, _release(as_long_as(scene, filmed, given))


def _rounded(filmed: Filmed, given: MatchFile) -> float:
    import math

    return math.ceil(20 * (filmed.footage.last - given.time.release)) / 20


def _is_run(file: str) -> bool:
    return Path(file).suffix.lower() in (".h5", ".hdf5")


def _run(file: str, changes: tuple[str, ...]) -> Trajectory:
    import snapsim

    if not _is_run(file):
        return _release(snapsim.load_scene(file, changes))
    if changes:
        raise InputError("changes a scene; a run file is computed already", key="--set")
    return snapsim.read_run(file)


def _release(scene: Any) -> Trajectory:
    import snapsim
    from snapsim.cli.progress import release_progress
    from snapsim.footage.matched import require_trusted
    from snapsim.run.release import not_interrupted

    with release_progress(scene.duration) as progress:
        run = not_interrupted(snapsim.release(scene, progress))
    require_trusted(run, scene.file)
    return run


def _write(
    folder: Path,
    found: TrackOverlay,
    result: dict[str, Any],
    style: str,
    unit: str,
    over: str | None,
) -> None:
    """Write the results, each whole or not at all; the track file as it was read is among them."""
    from snapsim.footage.backdrop import first_frame
    from snapsim.footage.plots import overlay_plot, residual_plot
    from snapsim.render.plots import PlotOptions, save, style_named
    from snapsim.storage.whole_file import whole_file

    folder.mkdir(parents=True, exist_ok=True)
    _write_numbers(folder, found, result)
    still = first_frame(over) if over is not None else None
    page = PlotOptions(style_named(style))
    title = result["title"]
    for name, plot in (
        ("overlay.png", overlay_plot(found, title, unit, still)),
        ("residuals.png", residual_plot(found, title, unit)),
    ):
        with whole_file(folder / name, True) as path:
            save(path, plot, page, ".png")


def _write_numbers(folder: Path, found: TrackOverlay, result: dict[str, Any]) -> None:
    import json

    from snapsim.analysis.json_objects import labelled
    from snapsim.footage.summary import residual_rows
    from snapsim.storage.whole_file import whole_file

    whole = {**labelled("match", result), "track_as_read": found.footage.source}
    texts = {
        "match.json": json.dumps(whole, indent=1, allow_nan=False, ensure_ascii=False) + "\n",
        "residuals.csv": residual_rows(found),
    }
    for name, text in texts.items():
        with whole_file(folder / name, True) as path:
            path.write_text(text, encoding="utf-8")
