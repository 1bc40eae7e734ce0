"""The overlay as a clip: tracked points over the projected motion, one picture a frame.

Crosses are what was tracked, rings where the point is computed to be, thin lines the outlines of
the computed bodies. Over a video or still where one is given, else on a plain sheet.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from contextlib import nullcontext
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
from PIL import Image, ImageDraw

from snapsim.arrays import Array, ByteArray
from snapsim.footage.backdrop import FootageBackdrop
from snapsim.footage.outlines import outline
from snapsim.footage.overlay import TrackOverlay
from snapsim.render import palette
from snapsim.render.formats import Format, format_of
from snapsim.render.lettering import fitted, font
from snapsim.render.overlay import CAUTION
from snapsim.render.reel import FramesProgress
from snapsim.render.targets import put, temporary_beside

SIDE = 1280
"""Longest side of the clip [pixels]."""

SEEN, COMPUTED, GAP, SHAPE = "#FFFFFF", "#FFB454", "#FF9CAE", "#8CD3F2"
FINE = 2
"""Pictures are drawn so many times larger and then reduced."""


@dataclass(frozen=True)
class Canvas:
    """From places in the picture to pixels of the clip: `scale`, `shift` (2,) and `size`."""

    scale: float
    shift: Array
    size: tuple[int, int]
    down: bool

    def at(self, places: Array) -> Array:
        """Return pixels (..., 2) of the clip, y downward."""
        found = self.scale * (places - self.shift)
        if not self.down:
            found = found * np.array([1.0, -1.0]) + np.array([0.0, self.size[1]])
        return np.asarray(found)


def canvas_of(found: TrackOverlay, unit: str, backdrop: ByteArray | None) -> Canvas:
    """Return the canvas: the whole picture of the camera, or what the tracks need of a plane."""
    if backdrop is not None:
        high, wide = backdrop.shape[:2]
        low, extent = np.zeros(2), np.array([wide, high], float)
    elif unit == "px":
        low, extent = np.zeros(2), np.array(found.view.size)
    else:
        places = np.concatenate([*found.computed, *(t.place for t in found.footage.tracks)])
        places = places[np.isfinite(places).all(axis=1)]
        low, high_end = places.min(axis=0), places.max(axis=0)
        room = 0.3 * float(np.max(high_end - low)) + 1e-9
        low, extent = low - room, high_end - low + 2 * room
    scale = SIDE / float(extent.max())
    size = tuple(2 * math.ceil(scale * e / 2 - 1e-6) for e in extent)
    return Canvas(scale, low, (int(size[0]), int(size[1])), found.view.down)


def write_clip(
    found: TrackOverlay,
    path: Path,
    title: str,
    unit: str,
    over: str | None = None,
    fps: int = 30,
    progress: FramesProgress | None = None,
) -> int:
    """Write the overlay as a clip; return the number of frames. Raises InputError, OutputError."""
    times, wanted, part = frame_times(found), format_of(path), temporary_beside(path)
    with FootageBackdrop(over) if over is not None else nullcontext() as backdrop:
        canvas = canvas_of(found, unit, backdrop.frame(0) if backdrop is not None else None)

        def pictures() -> Iterator[ByteArray]:
            for k, time in enumerate(times):
                if progress is not None:
                    progress(k, len(times))
                behind = backdrop.frame(_number(found, time)) if backdrop is not None else None
                yield np.asarray(picture(found, canvas, time, title, unit, fps, behind))

        size = canvas.size[0], canvas.size[1] + sum(strips(canvas.size))
        _encode(wanted, pictures(), part, path, size, fps)
    return len(times)


def _encode(
    wanted: Format,
    pictures: Iterator[ByteArray],
    part: Path,
    path: Path,
    size: tuple[int, int],
    fps: int,
) -> None:
    """Write the pictures, whole or not at all."""
    try:
        with TemporaryDirectory() as folder:
            piece = Path(folder) / f"piece{wanted.suffix}"
            wanted.encode(pictures, piece, size, fps, 0)
            wanted.join([piece], part, fps)
        put(part, path)
    finally:
        part.unlink(missing_ok=True)


def frame_times(found: TrackOverlay) -> Array:
    """Return all times of the footage [s]."""
    return np.unique(np.concatenate([t.time for t in found.footage.tracks]).round(9))


def _number(found: TrackOverlay, time: float) -> int:
    """Number of the video's frame at a time, counted from 0 at time 0 of the footage."""
    times = frame_times(found)
    spacing = float(np.median(np.diff(times))) if len(times) > 1 else 1.0
    return max(0, round(time / spacing))


def picture(
    found: TrackOverlay,
    canvas: Canvas,
    time: float,
    title: str,
    unit: str,
    fps: int,
    behind: ByteArray | None = None,
) -> Image.Image:
    """Return the overlay at a time of the footage [s]."""
    size = (FINE * canvas.size[0], FINE * canvas.size[1])
    sheet = Image.new("RGB", size, palette.BACKDROP_LOW)
    if behind is not None:
        sheet = Image.fromarray(behind).convert("RGB").resize(size, Image.Resampling.BILINEAR)
    pen = ImageDraw.Draw(sheet, "RGBA")
    _bodies(pen, found, canvas, time)
    for k in range(len(found.footage.tracks)):
        _point(pen, found, canvas, k, time)
    return _with_words(sheet.reduce(FINE), found, time, title, unit, fps)


def _bodies(pen: ImageDraw.ImageDraw, found: TrackOverlay, canvas: Canvas, time: float) -> None:
    """Fill of fixed bodies, outlines of all."""
    after = time - found.release
    for body in found.bodies:
        shape = outline(found.course, found.view, body, after)
        fill = (*palette.rgb("#5C6B75"), 120) if body.fixed else (*palette.rgb(SHAPE), 45)
        if len(shape.faces):
            mask = Image.new("L", pen.im.size)
            stencil = ImageDraw.Draw(mask)
            for face in FINE * canvas.at(shape.faces):
                stencil.polygon([tuple(p) for p in face], fill=255)
            pen.bitmap((0, 0), mask.point(lambda v, a=fill[3]: v * a // 255), fill=fill[:3])
        colour = palette.INK_SOFT if body.fixed else SHAPE
        for edge in FINE * canvas.at(shape.edges):
            pen.line([tuple(p) for p in edge], fill=colour, width=FINE * (1 if body.fixed else 2))


def _point(
    pen: ImageDraw.ImageDraw, found: TrackOverlay, canvas: Canvas, k: int, time: float
) -> None:
    """Path so far, cross where tracked, ring where computed, a line between them."""
    track = found.footage.tracks[k]
    upto = track.time <= time + 1e-9
    r, d = 9 * FINE, 1.6 * FINE
    path = FINE * canvas.at(found.computed[k][upto])
    if len(path) > 1:
        pen.line([tuple(p) for p in path], fill=(*palette.rgb(COMPUTED), 200), width=2 * FINE)
    places = FINE * canvas.at(track.place[upto])
    for x, y in places[np.isfinite(places).all(axis=1)]:
        pen.ellipse((x - d, y - d, x + d, y + d), fill=(*palette.rgb(SEEN), 190))
    if not upto.any() or abs(track.time[upto][-1] - time) > 1e-6:
        return
    x, y = path[-1]
    pen.ellipse((x - r, y - r, x + r, y + r), outline=COMPUTED, width=2 * FINE)
    if np.isfinite(places[-1]).all():
        u, v = places[-1]
        pen.line([(x, y), (u, v)], fill=GAP, width=2 * FINE)
        for dx, dy in ((r, r), (r, -r)):
            pen.line([(u - dx, v - dy), (u + dx, v + dy)], fill=SEEN, width=round(1.5 * FINE))


def _with_words(
    sheet: Image.Image, found: TrackOverlay, time: float, title: str, unit: str, fps: int
) -> Image.Image:
    """Put title, time, pace and largest difference above the picture, key and caution below it."""
    wide, high = sheet.size
    top, bottom = strips((wide, high))
    frame = Image.new("RGB", (wide, top + high + bottom), palette.PANEL)
    frame.paste(sheet, (0, top))
    pen, edge = ImageDraw.Draw(frame), round(0.012 * wide)
    for words, height, share, bold, colour in (
        (title, 0.0, 0.42, True, palette.INK),
        (_said(found, time, unit, fps), 0.52, 0.32, False, palette.ACCENT),
    ):
        text, points = fitted(words, wide - 2 * edge, round(share * top), bold)
        pen.text((edge, (0.04 + height) * top), text, colour, font(points, bold))
    key = "x  tracked      o  computed      blue  outline of the computed part"
    for k, words in enumerate((key, CAUTION)):
        text, points = fitted(words, wide - 2 * edge, round(0.3 * bottom))
        place = (edge, top + high + (0.08 + 0.46 * k) * bottom)
        pen.text(place, text, palette.INK, font(points))
    return frame


def strips(size: tuple[int, int]) -> tuple[int, int]:
    """Return the heights of the strips of words above and below a picture [pixels]."""
    unit = max(size)
    return 2 * round(0.036 * unit), 2 * round(0.029 * unit)


def _said(found: TrackOverlay, time: float, unit: str, fps: int) -> str:
    times = frame_times(found)
    spacing = float(np.median(np.diff(times))) if len(times) > 1 else 1 / fps
    slower = 1 / (fps * spacing)
    apart = []
    for track, residual in zip(found.footage.tracks, found.residual, strict=True):
        now = np.abs(track.time - time) < 1e-6
        apart += list(np.linalg.norm(residual[now], axis=1))
    known = [a for a in apart if np.isfinite(a)]
    most = f"largest difference {max(known):.1f} {unit}" if known else "no point tracked here"
    pace = f"{slower:.3g} times slower" if slower > 1.05 else "real time"
    return f"{1e3 * (time - found.release):.1f} ms after release     {most}     {pace}"
