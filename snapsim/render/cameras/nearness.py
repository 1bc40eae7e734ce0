"""What a near camera holds at a moment: the moving part now, and what it flies to, now.

Of a magnet only the piece round the place nearest to the part is held, the larger, the wider the
gap: all of it while the part is far, a rim of it at the blow, so that the part fills the picture
when it matters. Where that is not enough of the part, the camera goes on towards the place that is
struck, by `closer`: the piece of the magnet, others beside the part and, of a rod, what is far from
its blow are let go. The direction is chosen so that a turning part is seen to turn.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.spatial import ConvexHull

from snapsim.arrays import Array
from snapsim.numerics import rotations
from snapsim.parts.bodies import Body
from snapsim.render import camera
from snapsim.render.camera import CameraView, Margins
from snapsim.render.events import EventKind, find_events
from snapsim.render.interpolation import Moment, sample
from snapsim.render.readings import first_blow
from snapsim.simulation.trajectory import Trajectory

OUTLINE = 20  # pieces of a circle of a part's outline
LARGER = 1.6  # times the leading part's size: what is larger is not held with it
COMPANY = 0.4  # of the leading part's size: gap up to which other free bodies are held with it
ELSEWHERE = 0.008, 0.022  # s before and after another part's blow in which that part is held too
TURNED = 0.15  # change of a unit axis that counts as a turn
AZIMUTHS = tuple(-62.0 + 15 * s * k for k in range(1, 13) for s in (1, -1))
ELEVATIONS = (6.0, 14.0, -5.0, 30.0)
LOW = (-5.0, 6.0, 14.0, 30.0)


@dataclass(frozen=True)
class NearFraming:
    """How near: at the blow the part covers `share` of the picture, if it can; `rim` is what of a
    magnet is held then, over the part's size, and `per_gap` how much more for a gap; `struck`: of a
    blow on something else hold that; `whole`: all of a rod, else its nearer end; margins of `wide`,
    `tall` and `square` pictures, `elevations` [deg] those to choose from."""

    share: float
    rim: float
    per_gap: float
    struck: bool
    whole: bool
    elevations: tuple[float, ...]
    wide: Margins
    tall: Margins
    square: Margins

    def margins(self, size: tuple[int, int]) -> Margins:
        """Return the margins of a picture (width, height)."""
        if size[0] >= 1.25 * size[1]:
            return self.wide
        return self.tall if size[1] >= 1.25 * size[0] else self.square


TELLING = NearFraming(
    share=0.16,
    rim=0.20,
    per_gap=0.35,
    struck=False,
    whole=True,
    elevations=ELEVATIONS,
    wide=Margins(0.26, 0.03, 0.03, 0.05),
    tall=Margins(0.04, 0.04, 0.28, 0.27),
    square=Margins(0.04, 0.04, 0.26, 0.13),
)
"""Words have their place at the left, in tall and square pictures above."""
CLOSE = NearFraming(
    share=0.26,
    rim=0.02,
    per_gap=0.25,
    struck=True,
    whole=False,
    elevations=LOW,
    wide=Margins(0.17, 0.02, 0.02, 0.03),
    tall=Margins(0.01, 0.01, 0.20, 0.23),
    square=Margins(0.03, 0.03, 0.18, 0.07),
)
ROD = 3.0  # length over width from which on a close camera holds an end
END = 1.6, 0.6  # of the width: what it holds of it each way, from afar and at its nearest
GOES = 0.5  # of the part's size: how far from its blow the camera begins to go closer
STEPS = 8  # halvings in which it is found how close it goes


class Cast:
    """The bodies of a run that a near camera looks at, by the run's own time [s]."""

    def __init__(self, run: Trajectory, part: int) -> None:
        self._run, self._part, bodies = run, part, run.system.bodies
        self._body = bodies[part]
        self._outlines = {i: body.shape.surface(OUTLINE)[0] for i, body in enumerate(bodies)}
        most = LARGER * float(bodies[part].shape.extents.max())
        self._free = [
            i for i, b in enumerate(bodies) if not b.fixed and b.shape.extents.max() <= most
        ]
        self._blow = blow = first_blow(run)
        self._struck = None if blow is None else run.system.number(blow.against)
        if blow is not None and run.system.number(blow.body) != part:
            self._struck = run.system.number(blow.body) if self._struck == part else None
        if blow is not None:
            then = sample(run, float(np.nextafter(blow.time, -np.inf)))
            self._blow_pose = then.position[part], then.quaternion[part]
        elsewhere = (e for e in find_events(run) if e.kind == EventKind.OTHER_BLOW)
        self._other = next(elsewhere, None)
        self._strikes_a_magnet = self._struck is not None and bodies[self._struck].is_magnet
        self._magnets = [i for i, b in enumerate(bodies) if i != part and b.is_magnet]
        self.size = float(np.linalg.norm(bodies[part].shape.extents)) * 2 / np.sqrt(2)

    def held(self, time: float, near: NearFraming, closer: float = 0.0) -> Array:
        """Return the points (n, 3) to hold; with `closer` (0 to 1) those nearer to the blow."""
        moment = sample(self._run, time)
        closer *= self._struck_soon(moment)
        outline = self._end(moment, self.outline(moment, self._part), near, closer)
        beside = []
        for i in self._free:
            if i != self._part:
                own = self.outline(moment, i)
                if _gap(outline, own) < COMPANY * self.size:
                    beside.append(own)
        since = -1.0 if self._other is None else time - self._other.start
        if self._other is not None and -ELSEWHERE[0] < since < ELSEWHERE[1]:
            beside += [self.outline(moment, i) for i in self._other.bodies if self._moves(i)]
        goal = self._struck if near.struck and self._struck is not None else self._nearest(moment)
        if goal is not None:
            beside.append(self._piece(moment, goal, near))
        if closer > 0:
            place = self._place_struck(moment)
            beside = [place + (1 - closer) * (points - place) for points in beside]
        return np.vstack([outline, *beside])

    def share_at(self, time: float, view: CameraView) -> float:
        """Return which share of a view's picture the part covers at a time [s]."""
        return share_of_frame(self._body, sample(self._run, time), self._part, view)

    def closer(self, time: float, axes: Array, near: NearFraming, size: tuple[int, int]) -> float:
        """Return by how much (0 to 1) a camera that looks along `axes` goes closer, for the part
        to have its share of a picture (width, height) at the time [s] of its blow."""

        def share(amount: float) -> float:
            points = self.held(time, near, amount)
            return self.share_at(time, camera.fit(points, axes, size, near.margins(size)))

        if not (self._strikes_a_magnet or near.struck) or share(0.0) >= near.share:
            return 0.0
        low, high = 0.0, 1.0
        for _ in range(STEPS):
            middle = (low + high) / 2
            low, high = (low, middle) if share(middle) >= near.share else (middle, high)
        return high

    def _place_struck(self, moment: Moment) -> Array:
        """The place of the part that strikes, where it is now (3,)."""
        if self._blow is None:
            at: Array = moment.position[self._part]
            return at
        x, q = self._blow_pose
        own = rotations.rotate_back(q, self._blow.point - x)
        turned = rotations.rotate(moment.quaternion[self._part], own)
        found: Array = moment.position[self._part] + turned
        return found

    def _struck_soon(self, moment: Moment) -> float:
        """1 where the part strikes, 0 where that place is `GOES` of its size away, eased."""
        if self._blow is None:
            return 0.0
        away = float(np.linalg.norm(self._place_struck(moment) - self._blow.point))
        u = min(away / (GOES * self.size), 1.0)
        return float(1 - u * u * (3 - 2 * u))

    def _moves(self, body: int) -> bool:
        return not self._run.system.bodies[body].fixed

    def _end(self, moment: Moment, outline: Array, near: NearFraming, closer: float) -> Array:
        """Of a rod's outline (n, 3) what is held: all of it, or towards the end that strikes."""
        extents = self._body.shape.extents
        long = int(np.argmax(extents))
        width, reach = float(np.partition(extents, 1)[1]), float(extents[long])
        if reach < ROD * width or self._blow is None or (near.whole and closer == 0):
            return outline
        x, q = self._blow_pose
        where = float(rotations.rotate_back(q, self._blow.point - x)[long])
        each = width * (END[0] + (END[1] - END[0]) * closer)
        low = min(max(where - each, -reach), reach - 2 * each)
        ends = np.array([low, low + 2 * each])
        if near.whole:
            ends = (1 - closer) * np.array([-reach, reach]) + closer * ends
        own = self._outlines[self._part].copy()
        own[:, long] = np.clip(own[:, long], *ends)
        turned = rotations.rotate(moment.quaternion[self._part], own)
        found: Array = moment.position[self._part] + turned
        return found

    def outline(self, moment: Moment, body: int) -> Array:
        """Return points of a body's surface (n, 3), world axes."""
        turned = rotations.rotate(moment.quaternion[body], self._outlines[body])
        found: Array = moment.position[body] + turned
        return found

    def outline_at(self, time: float) -> Array:
        """Return points of the part's surface (n, 3) at a time [s], world axes."""
        return self.outline(sample(self._run, time), self._part)

    def axis(self, time: float) -> Array:
        """Return the part's thin axis, or the long one of what has no thin one, world axes (3,)."""
        extents = self._body.shape.extents
        low, middle, high = np.argsort(extents)
        long = extents[high] / extents[middle] > extents[middle] / extents[low]
        turn = sample(self._run, time).quaternion[self._part]
        found: Array = rotations.rotate(turn, np.eye(3)[high if long else low])
        return found

    def _nearest(self, moment: Moment) -> int | None:
        part = moment.position[self._part]
        away = {
            i: float(np.linalg.norm(part - self._place(moment, i, part)[0])) for i in self._magnets
        }
        return min(away, key=lambda i: away[i]) if away else None

    def _place(self, moment: Moment, body: int, point: Array) -> tuple[Array, Array]:
        """The place of a body's box nearest to a point, in world axes and in its own."""
        x, q = moment.position[body], moment.quaternion[body]
        box = self._run.system.bodies[body].shape.extents
        own = np.clip(rotations.rotate_back(q, point - x), -box, box)
        return x + rotations.rotate(q, own), own

    def _piece(self, moment: Moment, goal: int, near: NearFraming) -> Array:
        """Corners (8, 3) of the piece of a body's box that is held."""
        outline = self.outline(moment, self._part)
        centre = moment.position[self._part]
        world, own = self._place(moment, goal, centre)
        way = world - centre
        way /= max(float(np.linalg.norm(way)), 1e-12)
        gap = max(0.0, float(np.linalg.norm(world - centre) - ((outline - centre) @ way).max()))
        reach = near.rim * self.size + near.per_gap * gap
        box = self._run.system.bodies[goal].shape.extents
        signs = np.array([[a, b, c] for a in (-1, 1) for b in (-1, 1) for c in (-1, 1)])
        piece = np.clip(signs * box, own - reach, own + reach)
        x, q = moment.position[goal], moment.quaternion[goal]
        found: Array = x + rotations.rotate(q, piece)
        return found


def _gap(a: Array, b: Array) -> float:
    """About how far two sets of points are from each other."""
    middle, other = a.mean(axis=0), b.mean(axis=0)
    way = other - middle
    apart = float(np.linalg.norm(way))
    way = way / max(apart, 1e-12)
    return apart - float(((a - middle) @ way).max()) - float(((other - b) @ way).max())


def area_seen(points: Array, axes: Array) -> float:
    """Return the area [m^2] of the outline of points (n, 3) as seen along `axes` from afar."""
    flat = points @ axes[:2].T
    return float(ConvexHull(flat).volume)


def direction(
    cast: Cast,
    times: Sequence[float],
    obstacles: list[tuple[Array, Array, Array]],
    first: tuple[float, float],
    near: NearFraming,
    size: tuple[int, int],
) -> tuple[float, float]:
    """Return azimuth and elevation [deg] from which the part is hidden least, at the last of
    `times` [s] above all, its turning lies across the view, and it is seen large then in a picture
    (width, height); `first` wins ties."""
    outlines = [cast.outline_at(t) for t in times]
    path = np.array([o.mean(axis=0) for o in outlines])
    axes = np.array([cast.axis(t) for t in times])
    axes *= np.sign(axes @ axes[-1])[:, None]
    turn = axes[-1] - axes[0]
    turned = float(np.linalg.norm(turn))
    few, last = np.vstack([inner(o) for o in outlines]), inner(outlines[-1])
    candidates = [(a, e) for e in near.elevations for a in (first[0], *AZIMUTHS)]
    views = [camera.axes_of(*candidate) for candidate in candidates]
    broad = np.array([area_seen(outlines[-1], view) for view in views])
    held, margins = cast.held(times[-1], near), near.margins(size)
    fits = [camera.fit(held, view, size, margins) for view in views]
    large = np.array([cast.share_at(times[-1], fit) for fit in fits])
    large, broad = np.minimum(large / near.share, 1.0), broad / broad.max()

    def cost(k: int) -> float:
        view, (azimuth, _) = views[k], candidates[k]
        hidden = hidden_share(few, view[2], obstacles)
        deep = float(np.ptp((path - path.mean(axis=0)) @ view[2]))
        found = (
            4 * hidden
            + 2 * hidden_share(last, view[2], obstacles)
            + 0.5 * deep / max(float(np.ptp(path, axis=0).max()), 1e-9)
        )
        found += 0.9 * (1 - float(broad[k])) + 0.9 * (1 - float(large[k]))
        if turned > TURNED:
            found += 0.7 * abs(float(turn @ view[2])) / turned
        found += 0.4 * max(0.0, abs(float(axes[-1] @ view[2])) - 0.85) / 0.15  # flat on: no depth
        away = abs((azimuth - first[0] + 180) % 360 - 180) / 90
        return found + 0.06 * away + 0.05 * (k // (len(AZIMUTHS) + 1))

    return candidates[min(range(len(candidates)), key=cost)]


def inner(outline: Array) -> Array:
    """Return a few points of an outline (n, 3), a little within it."""
    few: Array = outline[:: max(1, len(outline) // 8)] * 0.9 + 0.1 * outline.mean(axis=0)
    return few


def elevation_after(
    cast: Cast,
    times: Sequence[float],
    obstacles: list[tuple[Array, Array, Array]],
    look: tuple[float, float],
    elevations: Sequence[float],
) -> float:
    """Return the elevation [deg] from which the part is hidden least at `times` [s] after its blow,
    that of `look` where it may stay: under a pole it is seen from below."""
    azimuth, before = look
    few = np.vstack([inner(cast.outline_at(t)) for t in times])

    def cost(elevation: float) -> float:
        hidden = hidden_share(few, camera.axes_of(azimuth, elevation)[2], obstacles)
        return hidden + 0.01 * abs(elevation - before)

    return min((before, *elevations), key=cost)


def hidden_share(points: Array, back: Array, obstacles: list[tuple[Array, Array, Array]]) -> float:
    """Return which share of points (n, 3) is hidden, as in `camera.hidden`, from afar."""
    lost = np.zeros(len(points), dtype=bool)
    for centre, rotation, half in obstacles:
        start, ray = (points - centre) @ rotation, rotation.T @ back
        ray = np.where(np.abs(ray) < 1e-12, 1e-12, ray)
        t1, t2 = (-half - start) / ray, (half - start) / ray
        enter = np.minimum(t1, t2).max(axis=1)
        lost |= np.maximum(t1, t2).min(axis=1) > np.maximum(enter, 1e-4)
    return float(lost.mean())


def share_of_frame(body: Body, moment: Moment, number: int, view: CameraView) -> float:
    """Return which share of the picture's area the outline of a body covers, within the picture.

    A hole through it counts as covered.
    """
    corners = body.shape.surface(48)[0]
    world = moment.position[number] + rotations.rotate(moment.quaternion[number], corners)
    seen = np.clip(view.project(world) / view.size, 0, 1)
    return float(ConvexHull(seen).volume) if np.all(np.ptp(seen, axis=0) > 1e-9) else 0.0
