"""From a shot's description to its camera, for what a run shows."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from snapsim.arrays import Array
from snapsim.render import camera
from snapsim.render.camera import CameraView
from snapsim.render.cameras.contract import Camera, Fixed
from snapsim.render.cameras.moving import middle_of, moving, zoomed
from snapsim.render.cameras.nearness import (
    CLOSE,
    TELLING,
    Cast,
    NearFraming,
    direction,
    elevation_after,
)
from snapsim.render.cameras.shot import Key, Shot
from snapsim.render.framing import Action
from snapsim.render.layout import PictureLayout
from snapsim.render.timeline import Timeline

AROUND = 1.1  # of the part's size: what a following camera shows round it
BESIDE = (75.0, -75.0, 105.0, -105.0, 40.0, -40.0, 180.0)  # degrees from the first camera
EASE = 0.1  # clip seconds: less than the picture stands at the blow
LOW = 8.0  # elevation of the second camera [deg]
SINKS = 0.4  # clip seconds in which a near camera goes to where the part is seen after its blow
JUST_AFTER = 1e-4  # s after a blow: what is told next, once the picture no longer stands


@dataclass(frozen=True)
class Subject:
    """What there is to be seen: the whole `action` from its best direction `axes`; `part_at` gives
    corners (8, 3) of the leading part at a simulated time, `near_at` what a near camera holds, for
    a rim of what the part flies to (`nearness`); `obstacles` as in `camera.hidden`: boxes (centre
    (3,), rotation (3, 3), half sizes (3,)) that hide what is behind; `lag` [s] is how much later
    than the run's own the simulated time is."""

    action: Action
    axes: Array
    part_at: Callable[[float], Array]
    cast: Cast
    blow: float
    obstacles: list[tuple[Array, Array, Array]]
    lag: float = 0.0

    def near_at(self, time: float, near: NearFraming, closer: float = 0.0) -> Array:
        """Return the points (n, 3) that a near camera holds at a simulated time."""
        return self.cast.held(time - self.lag, near, closer)

    def closer(self, look: tuple[float, float], near: NearFraming, size: tuple[int, int]) -> float:
        """Return by how much a near camera that looks from `look` [deg] goes closer at the blow."""
        time = float(np.nextafter(self.blow, -np.inf))
        return self.cast.closer(time, camera.axes_of(*look), near, size)

    def bearings(
        self,
        timeline: Timeline,
        span: tuple[float, float],
        near: NearFraming,
        size: tuple[int, int],
    ) -> tuple[float, float]:
        """Return where a near camera looks from [deg]."""
        start, end = (timeline.sim_at(t) - self.lag for t in span)
        until = self.blow if start < self.blow else end
        times = np.linspace(start, max(until, start), 9).tolist()
        first = camera.angles_of(self.axes)
        return direction(self.cast, times, self.obstacles, first, near, size)

    def after(
        self, end: float, look: tuple[float, float], near: NearFraming
    ) -> tuple[float, float]:
        """Return where a near camera that looked from `look` [deg] looks from after the blow, until
        the simulated time `end`."""
        end -= self.lag
        if end <= self.blow:
            return look
        times = np.linspace(self.blow, end, 5).tolist()[1:]
        low = elevation_after(self.cast, times, self.obstacles, look, near.elevations)
        return look[0], low


def camera_for(
    shot: Shot,
    subject: Subject,
    timeline: Timeline,
    number: int,
    layout: PictureLayout,
    beside: Sequence[Subject] = (),
) -> Camera:
    """Return the camera of shot `number` of a clip. A close view is as near as those `beside`, of
    other runs abreast, allow: what is compared has one scale."""
    span = _span(timeline, number)
    first = _angles(shot, subject, number)
    if shot.kind == "fixed":
        return _fixed(subject.action.held, first, shot.zoom, layout)
    if shot.kind in ("near", "close-up"):
        return _near(shot, (subject, *beside), timeline, number, layout)
    held, look, zoom = _program(shot, subject, timeline, span, first)
    return moving(span, look, zoom, held, layout.size, layout.margins)


def _near(
    shot: Shot, subjects: Sequence[Subject], timeline: Timeline, number: int, layout: PictureLayout
) -> Camera:
    """The camera that holds the part now; of runs abreast, whose first is this one, all the same
    size."""
    near = CLOSE if shot.kind == "close-up" else TELLING
    own, *others = subjects
    span = _span(timeline, number)
    look = shot.view or own.bearings(timeline, span, near, layout.size)
    then = look if shot.view else own.after(timeline.sim_at(span[1]), look, near)
    stands = any(p.kind == "freeze" and p.shot == number for p in timeline.pieces)
    closer = own.closer(look, near, layout.size) if stands else 0.0
    goes = timeline.clip_at(own.blow + own.lag + JUST_AFTER, number)

    def aim(clip: float) -> tuple[float, float]:
        u = min(max((clip - goes) / SINKS + 0.5, 0.0), 1.0)
        return look[0], look[1] + (then[1] - look[1]) * u * u * (3 - 2 * u)

    def held(clip: float) -> Array:
        time = timeline.sim_at(clip)
        found = own.near_at(time, near, closer)
        return _as_large_as(found, [other.near_at(time, near) for other in others])

    margins = near.margins(layout.size)
    return moving(span, aim, lambda _: shot.zoom, held, layout.size, margins, EASE)


def still_camera(
    shot: Shot, subject: Subject, timeline: Timeline, time: float, layout: PictureLayout
) -> Camera:
    """Return the camera of one picture at a simulated time [s]: a near one fits that moment, as
    there is no motion to ease."""
    if shot.kind not in ("near", "close-up"):
        return camera_for(shot, subject, timeline, 0, layout)
    near = CLOSE if shot.kind == "close-up" else TELLING
    look = shot.view or subject.bearings(timeline, _span(timeline, 0), near, layout.size)
    closer = subject.closer(look, near, layout.size)
    if not shot.view and time - subject.lag > subject.blow + JUST_AFTER:
        look = subject.after(time, look, near)
    held = subject.near_at(time, near, closer)
    view = camera.fit(held, camera.axes_of(*look), layout.size, near.margins(layout.size))
    return Fixed(zoomed(view, middle_of(held), shot.zoom))


def _span(timeline: Timeline, number: int) -> tuple[float, float]:
    """The clip times between which a shot is seen."""
    seen = [p for p in timeline.pieces if p.shot == number and p.kind not in ("title", "card")]
    return seen[0].clip, seen[-1].until


Bearings = Callable[[float], tuple[float, float]]


def _program(
    shot: Shot,
    subject: Subject,
    timeline: Timeline,
    span: tuple[float, float],
    first: tuple[float, float],
) -> tuple[Callable[[float], Array], Bearings, Callable[[float], float]]:
    """Return what a moving camera holds, where it looks from and how near, by clip time."""

    def steady(_: float) -> tuple[float, float]:
        return first

    def zoom(_: float) -> float:
        return shot.zoom

    def whole(_: float) -> Array:
        return subject.action.held

    if shot.kind == "follow":
        return _follower(subject, timeline), steady, zoom
    if shot.kind == "orbit":
        return whole, _orbit(first, shot.turn, span), zoom
    return whole, _between(shot.keys, 0), lambda t: _between(shot.keys, 1)(t)[0]


def _fixed(points: Array, angles: tuple[float, float], zoom: float, layout: PictureLayout) -> Fixed:
    view: CameraView = camera.fit(points, camera.axes_of(*angles), layout.size, layout.margins)
    return Fixed(zoomed(view, points.mean(axis=0), zoom))


def _follower(subject: Subject, timeline: Timeline) -> Callable[[float], Array]:
    """A cube round the part, so that turning does not make the picture breathe."""

    def held(clip: float) -> Array:
        corners = subject.part_at(timeline.sim_at(clip))
        centre = corners.mean(axis=0)
        reach = AROUND * float(np.linalg.norm(corners - centre, axis=1).max())
        cube = np.array([[a, b, c] for a in (-1, 1) for b in (-1, 1) for c in (-1, 1)])
        found: Array = centre + reach * cube
        return found

    return held


def _orbit(first: tuple[float, float], turn: float, span: tuple[float, float]) -> Bearings:
    def look(clip: float) -> tuple[float, float]:
        share = (clip - span[0]) / max(span[1] - span[0], 1e-9)
        return first[0] + turn * (share - 0.5), first[1]

    return look


def _between(keys: tuple[Key, ...], what: int) -> Bearings:
    """Ease between keyframes: their directions, or (zoom, zoom)."""
    at = np.array([key.at for key in keys])
    rows = [(k.azimuth, k.elevation) if what == 0 else (k.zoom, k.zoom) for k in keys]
    values = np.array(rows)

    def look(clip: float) -> tuple[float, float]:
        j = int(np.clip(np.searchsorted(at, clip, side="right"), 1, len(at) - 1))
        u = float(np.clip((clip - at[j - 1]) / (at[j] - at[j - 1]), 0.0, 1.0))
        a, b = values[j - 1] + (values[j] - values[j - 1]) * (u * u * (3 - 2 * u))
        return float(a), float(b)

    return look


def _as_large_as(own: Array, others: Sequence[Array]) -> Array:
    """`own` points (n, 3), and all `others` moved to have the same middle."""
    middle = middle_of(own)
    moved = [points - middle_of(points) + middle for points in others]
    found: Array = np.vstack([own, *moved])
    return found


def _angles(shot: Shot, subject: Subject, number: int) -> tuple[float, float]:
    """The direction asked for, else the best one; a second camera stands elsewhere."""
    if shot.view is not None:
        return shot.view
    azimuth, elevation = camera.angles_of(subject.axes)
    if number == 0:
        return azimuth, elevation
    path = subject.action.path[:: max(1, len(subject.action.path) // 24)]
    best, least = azimuth, float("inf")
    for k, beside in enumerate(BESIDE):
        axes = camera.axes_of(azimuth + beside, LOW)
        cost = camera.disadvantage(axes, path, subject.obstacles) + 0.05 * k
        if cost < least:
            best, least = azimuth + beside, cost
    return best, LOW
