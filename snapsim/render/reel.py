"""From frames to a file, in pieces: drawn by several processes, and gone on with after a stop.

A clip is cut into pieces of `PIECE` frames. Each is drawn and encoded on its own into a folder kept
beside the target, `.NAME.pieces`, under a temporary name until it is whole; then all are joined. A
clip stopped at any moment, by a key, a crash or a full disk, goes on from its whole pieces when it
is asked for again, and ends in the same bytes, since pieces depend on nothing but the job. A piece
is whole where its note has the hash of what lies there: anything else is drawn anew.
"""

from __future__ import annotations

import hashlib
import json
import os
import shutil
from collections.abc import Callable, Iterator, Mapping
from concurrent.futures import Executor, Future, wait
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from filelock import FileLock, Timeout

from snapsim.arrays import Array, ByteArray
from snapsim.errors import ComputationError, NotWritten, OutputError
from snapsim.numerics.kept_files import remove_leftovers
from snapsim.render import flashes, offscreen, targets
from snapsim.render.board import Storyboard
from snapsim.render.board_show import BoardShow
from snapsim.render.formats import format_of
from snapsim.render.job import ClipJob, fingerprint
from snapsim.render.rates import Rate
from snapsim.render.show import Show
from snapsim.work.processes import CONTEXT, Processes

PIECE = 60
ROOM = 64 << 20  # bytes that must be free before a piece is begun
FramesProgress = Callable[[int, int], None]
MADE_FROM = "made-from"


ReelJob = ClipJob | Storyboard


def opened(job: ReelJob) -> Show | BoardShow:
    """Return what makes the frames of a job."""
    return BoardShow(job) if isinstance(job, Storyboard) else Show(job)


@dataclass(frozen=True)
class Made:
    """What it took: seconds by stage of the frames drawn now, how many these were, `found` were
    there already; `light` (k, 18, 32), the luminance of all frames."""

    seconds: dict[str, float]
    drawn: int
    found: int
    light: Array


def make(job: ReelJob, target: Path, progress: FramesProgress | None = None) -> Made:
    """Write the clip of a job at `target`. Raises OutputError; what is whole stays beside it."""
    form = format_of(target)
    with opened(job) as show:
        moments = show.frame_times(job.options.fps)
    numbers = range(-(-len(moments) // PIECE))
    folder = target.with_name(f".{target.name}.pieces")
    with _workplace(folder, fingerprint(job, form.name)):
        todo = [n for n in numbers if not _is_done(folder, n, form.piece_suffix)]
        before = sum(len(_moments(moments, n)) for n in numbers if n not in todo)
        _draw_all(job, target, folder, todo, len(moments), before, progress)
        _join(form, folder, numbers, target, job.options.fps)
        notes = [json.loads((folder / f"{n:05d}.json").read_text()) for n in numbers]
        light = np.concatenate([np.load(folder / f"{n:05d}.npy") for n in numbers])
        seconds: dict[str, float] = {}
        for n in todo:
            for stage, spent in notes[n]["seconds"].items():
                seconds[stage] = seconds.get(stage, 0.0) + spent
    shutil.rmtree(folder)
    return Made(seconds, len(moments) - before, before, light)


@contextmanager
def _workplace(folder: Path, made_from: str) -> Iterator[None]:
    """Hold the folder of pieces; throw away what another job has left there."""
    note = folder / MADE_FROM
    try:
        if folder.exists() and not note.exists() and any(folder.iterdir()):
            raise OutputError(f"{folder}: is in the way and none of ours; move it elsewhere")
        folder.mkdir(exist_ok=True)
        with FileLock(folder / "lock", timeout=0):
            if not note.exists() or note.read_bytes() != made_from.encode():
                _clear(folder)
                note.write_bytes(made_from.encode())
            yield
    except Timeout:
        raise OutputError(f"{folder}: another process is drawing this clip; let it end") from None
    except OSError as broken:
        reason = broken.strerror or str(broken)
        raise NotWritten(f"{folder}: could not be written: {reason}") from broken


def _clear(folder: Path) -> None:
    for old in folder.iterdir():
        if old.is_dir():
            shutil.rmtree(old)
        elif old.name != "lock":
            old.unlink()


def _is_done(folder: Path, number: int, suffix: str) -> bool:
    """Whether a piece lies there as it was when its note was written."""
    try:
        note = json.loads((folder / f"{number:05d}.json").read_bytes())
        return bool(note["hash"] == _hash(folder, number, suffix))
    except (OSError, ValueError, KeyError, TypeError, RecursionError):
        return False


def _hash(folder: Path, number: int, suffix: str) -> str:
    """Of a piece's file, or of its pictures, and of its luminances."""
    piece, found = folder / f"{number:05d}{suffix}", hashlib.sha256()
    pictures = sorted(piece.iterdir()) if piece.is_dir() else [piece]
    for path in [*pictures, folder / f"{number:05d}.npy"]:
        content = path.read_bytes()
        found.update(f"{path.name} {len(content)} ".encode() + content)
    return found.hexdigest()


def _moments(moments: list[float], number: int) -> list[float]:
    return moments[number * PIECE : (number + 1) * PIECE]


def _join(form: Any, folder: Path, numbers: range, target: Path, fps: Rate) -> None:
    remove_leftovers(target)
    part = targets.temporary_beside(target)
    try:
        form.join([folder / f"{n:05d}{form.piece_suffix}" for n in numbers], part, fps)
        if form.suffix == ".mp4" and not targets.is_whole(part):
            raise NotWritten(f"{target}: the encoder left it unfinished; disk full?")
        targets.put(part, target)
    finally:
        if part.is_dir():
            shutil.rmtree(part)
        else:
            part.unlink(missing_ok=True)


def _draw_all(
    job: ReelJob,
    target: Path,
    folder: Path,
    todo: list[int],
    total: int,
    before: int,
    progress: FramesProgress | None,
) -> None:
    """Draw the pieces still to do, here or in processes of their own."""
    told = progress or (lambda done, of_all: None)
    told(before, total)
    workers = min(job.options.workers, len(todo))
    if workers > 1:
        return _draw_apart(job, target, folder, todo, total, before, told, workers)
    done = before
    with opened(job) as show:
        for number in todo:

            def count() -> None:
                nonlocal done
                done += 1
                told(done, total)

            _draw_piece(show, target, folder, number, PIECE, count)
    return None


def _require_room(target: Path, folder: Path) -> None:
    if shutil.disk_usage(folder).free < ROOM:
        raise NotWritten(f"{target}: less than {ROOM >> 20} MB are free; make room and go on")


def _draw_piece(
    show: Show | BoardShow,
    target: Path,
    folder: Path,
    number: int,
    length: int,
    count: Callable[[], None],
) -> None:
    """Draw, encode and note one piece; the note comes last, so a piece with one is whole."""
    first = number * length
    _require_room(target, folder)
    options, form = show.job.options, format_of(target)
    show.watch.seconds.clear()
    light: list[Array] = []
    times = show.frame_times(options.fps)[first : first + length]
    frames = _frames(show, times, form.alpha, light, count)
    part = folder / f"part-{number:05d}-{os.getpid()}{form.piece_suffix}"
    size = options.width, options.height
    form.encode(frames, part, size, options.fps, first)
    piece = folder / f"{number:05d}{form.piece_suffix}"
    if piece.is_dir():  # without a note that fits
        shutil.rmtree(piece)
    part.rename(piece)
    np.save(folder / f"{number:05d}.npy", np.array(light, dtype=np.float32))
    _note(folder, number, form.piece_suffix, show.watch.seconds)


def _frames(
    show: Show | BoardShow,
    times: list[float],
    alpha: bool,
    light: list[Array],
    count: Callable[[], None],
) -> Iterator[ByteArray]:
    """Yield pictures for the encoder; what light they have is put into `light`."""
    for clip in times:
        picture = show.frame(clip)
        if alpha:
            picture = picture.convert("RGBA")
        with show.watch.stage("count flashes"):
            light.append(flashes.luminance(picture))
        with show.watch.stage("encode"):
            yield np.asarray(picture)
        count()


def _note(folder: Path, number: int, suffix: str, seconds: Mapping[str, float]) -> None:
    """Note that a piece is whole, what it cost, and its hash."""
    note = folder / f"part-{number:05d}-{os.getpid()}.json"
    told = {"seconds": dict(seconds), "hash": _hash(folder, number, suffix)}
    note.write_text(json.dumps(told))
    note.rename(folder / f"{number:05d}.json")


def _draw_apart(
    job: ReelJob,
    target: Path,
    folder: Path,
    todo: list[int],
    total: int,
    before: int,
    told: FramesProgress,
    workers: int,
) -> None:
    """Draw pieces in `workers` processes; on any trouble all end at once."""
    count, whole = CONTEXT.Value("l", 0), False
    pool = Processes(workers, _start_worker, (job, count))
    try:
        waiting = {_submit(pool, target, folder, number) for number in todo}
        while waiting:
            done, waiting = wait(waiting, timeout=0.2)
            for future in done:
                future.result()
            told(before + count.value, total)
        whole = True
    except BrokenProcessPool:
        raise ComputationError(
            f"{target}: a drawing process died; run the same command again to go on"
        ) from None
    finally:
        # a piece is whole or not there: what is half drawn is not waited for
        pool.shutdown(wait=whole, cancel_futures=True)


def _submit(pool: Executor, target: Path, folder: Path, number: int) -> Future[None]:
    return pool.submit(_work, target, folder, number, PIECE)


_own: dict[str, Any] = {}
"""What a drawing process keeps: its show and the counter."""


def _start_worker(job: ReelJob, count: Any) -> None:
    os.environ.setdefault("LP_NUM_THREADS", "1")  # software OpenGL: a core for each process
    offscreen.require()
    _own.update(show=opened(job), count=count)


def _work(target: Path, folder: Path, number: int, length: int) -> None:
    def tick() -> None:
        with _own["count"].get_lock():
            _own["count"].value += 1

    _draw_piece(_own["show"], target, folder, number, length, tick)
