"""One run's pictures with their words: the whole frame, or its pane where runs stand abreast."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from PIL import Image

from snapsim.arrays import Array
from snapsim.errors import InputError
from snapsim.parts.states import Pose
from snapsim.render.camera import angles_of
from snapsim.render.cameras.choice import Subject, camera_for, still_camera
from snapsim.render.cameras.nearness import Cast
from snapsim.render.events import EventKind, find_events, main_blow
from snapsim.render.film_words import FilmWords
from snapsim.render.framing import Action, corners, find_action, leading_part
from snapsim.render.interpolation import sample
from snapsim.render.layers.between import Between
from snapsim.render.layers.fan import Fan, shares
from snapsim.render.layers.field_lines import FieldLines
from snapsim.render.layers.gap import GapLine
from snapsim.render.layers.ghosts import Ghosts, places_passed
from snapsim.render.layers.glow import Glow, glowing
from snapsim.render.layers.hands import HandMarks
from snapsim.render.layers.magnetisation import Magnetisation, top_polarisation
from snapsim.render.layers.section import SectionLayer
from snapsim.render.layers.trail import Trail
from snapsim.render.layers.vectors import QUANTITIES, Vector, largest
from snapsim.render.layout import PictureLayout, lay_out, lay_out_film
from snapsim.render.lines import StoryLine, blow_words
from snapsim.render.options import DASHBOARD, ClipOptions
from snapsim.render.overlay import ClipOverlay
from snapsim.render.pair_force import PairForce, pair_of, parts_them
from snapsim.render.panels import EnergyBars, EnergySlope, Panel, SpeedPlot
from snapsim.render.picture import Picture, choose_axes, obstacles_of
from snapsim.render.readings import choose_scales, first_blow, readings
from snapsim.render.slope import slope_of
from snapsim.render.stopwatch import Stopwatch
from snapsim.render.timeline import ROUNDING, ClipPiece, Timeline
from snapsim.simulation.trajectory import Impact, Trajectory
from snapsim.words.endings import warning

HELD, ENDED = "held for the other", "run over"
BLOW_SHOWN = 3.0  # clip seconds for which the first blow's figures stay
STILL = -1  # the shot that is one picture
SAMPLES = 1.5  # a side of a pixel of a moving camera, where edges are to be smooth
STILL_SAMPLES = 2.0  # of one that stands, where little is drawn anew


class Pane:
    """Draws the frames of one run. `lag` [s] is how much later than the run's own time the clip's
    simulated time is; `action` what the first camera must hold, that of several runs abreast."""

    def __init__(
        self,
        run: Trajectory,
        options: ClipOptions,
        size: tuple[int, int],
        timeline: Timeline,
        action: Action,
        subjects: Sequence[Subject],
        *,
        number: int = 0,
        lag: float = 0.0,
        companions: Sequence[Trajectory] = (),
        lags: Sequence[float] = (),
        fellows: Sequence[Trajectory] = (),
        apart: str = "",
        watch: Stopwatch | None = None,
    ) -> None:
        """`subjects` and `fellows` are those of all runs abreast, which share their scales; this
        one is `number` of them, under the heading `apart`: what sets it apart from the others."""
        self._run, self._options, self._timeline, self._lag = run, options, timeline, lag
        self._companions, self._lags, self._fellows = companions, lags, fellows or (run,)
        self._watch = watch or Stopwatch()
        self._part = leading_part(run.system, run.velocity)
        self._action = action
        abreast = len(self._fellows) > 1
        self._slope = None
        if "slope" in options.layers and self._part is not None and not abreast:
            self._slope = slope_of(run, self._part)
        self._layout = _layout(options, size, self._part, abreast, self._slope is not None)
        self._scales = choose_scales(self._fellows, timeline.slow_motion)
        self._blow = first_blow(run) if options.slow_motion is not None else main_blow(run)
        self._alone = options.bodies == "alone"
        self._glowing = glowing(run) if "glow" in options.layers and not self._alone else []
        self._heading = apart or run.system.title
        self._subject, self._beside = (
            subjects[number],
            [*subjects[:number], *subjects[number + 1 :]],
        )
        self._pictures: dict[int, tuple[Picture, ClipOverlay | FilmWords]] = {}
        self._number, self._still_at = number, 0.0
        self._common = angles_of(subjects[0].axes)
        self._drawn: tuple[object, Image.Image] | None = None

    def close(self) -> None:
        """Give the windows back."""
        for picture, _ in self._pictures.values():
            picture.close()

    def frame(self, clip: float, piece: ClipPiece) -> Image.Image:
        """Return the frame at a clip time [s] inside a piece of the timeline."""
        now = piece.sim_at(clip) - self._lag
        announced = self._announced(clip, piece, now)
        if piece.kind == "freeze":
            now = self._as_it_strikes(now)
        return self.compose(now, clip, piece.shot, self._pace(clip, piece), announced)

    def _pace(self, clip: float, piece: ClipPiece) -> str:
        """How fast time runs, and of runs abreast what stands still for another's sake."""
        now = piece.sim_at(clip) - self._lag
        if piece.kind == "freeze" and not self._strikes_at(now):
            return HELD
        if piece.kind in ("play", "replay") and now > float(self._run.time[-1]) + ROUNDING:
            return ENDED
        step = {"release": "in step at release", "impact": "in step at the blow"}
        abreast = f", {step[self._options.align]}" if len(self._fellows) > 1 else ""
        label = self._timeline.label_at(clip)
        return label + abreast if piece.kind in ("play", "replay") else label

    def _strikes_at(self, now: float) -> bool:
        return self._blow is not None and abs(now - self._blow.time) <= ROUNDING

    def _as_it_strikes(self, now: float) -> float:
        """The last moment before the blow, where the blow's own time is asked for: two stored
        frames share that time, and the later one is already the rebound."""
        if self._blow is not None and self._strikes_at(now):
            return float(np.nextafter(self._blow.time, -np.inf))
        return now

    def _announced(self, clip: float, piece: ClipPiece, now: float) -> StoryLine | None:
        """What is said: the telling's line, or in one slow window the first blow's, while it is
        news: BLOW_SHOWN clip seconds, and at the end."""
        if self._options.slow_motion is None:
            return self._timeline.line_at(clip, self._number)
        if self._blow is None or self._blow.time > now:
            return None
        since = clip - self._timeline.clip_at(self._blow.time + self._lag)
        news = piece.kind in ("freeze", "end", "replay") or since < BLOW_SHOWN
        return _blow_line(self._blow) if news else None

    def still(self, time: float, clip: float = 0.0, said: StoryLine | None = None) -> Image.Image:
        """Return the frame at a simulated time [s] of the run's own, from the first camera; it says
        the blow, once struck, or what is `said`."""
        struck = self._blow is not None and self._blow.time <= time
        line = _blow_line(self._blow) if self._blow is not None and struck else None
        now = self._as_it_strikes(time)
        self._still_at = now + self._lag
        return self.compose(now, clip, STILL, "", said or line)

    def compose(
        self, now: float, clip: float, shot: int, pace: str, said: StoryLine | None
    ) -> Image.Image:
        """Return the picture of the run's time `now` [s] with its words."""
        picture, words = self._picture(shot)
        moment = sample(self._run, now)
        key = shot, now, None if picture.still else clip
        if self._drawn is None or self._drawn[0] != key:  # a hold is drawn once
            self._drawn = key, picture.draw(moment, clip)
        frame = self._drawn[1].copy()
        with self._watch.stage("words"):
            notes = picture.notes(moment)
            if isinstance(words, FilmWords):
                words.show(frame, said, pace, notes, moment)
            else:
                figures = self._options.layers >= {"figures"}
                told = (
                    readings(moment, self._part, self._scales, self._run.twins) if figures else []
                )
                words.show(frame, told, pace, said.text if said else None, moment, notes)
        return frame

    def _picture(self, shot: int) -> tuple[Picture, ClipOverlay | FilmWords]:
        """Return the picture and words of a shot, made when first asked for."""
        if shot not in self._pictures:
            with self._watch.stage("set up"):
                self._pictures[shot] = self._make(shot)
        return self._pictures[shot]

    def _make(self, shot: int) -> tuple[Picture, ClipOverlay | FilmWords]:
        run, options = self._run, self._options
        first = shot in (0, STILL) or options.replay is None
        chosen = options.shot if first or options.replay is None else options.replay
        together = len(self._fellows) > 1 or self._companions  # one scale; a fan is seen whole
        if together and chosen.kind in ("near", "close-up"):
            chosen = replace(chosen, kind="fixed", view=chosen.view or self._common)
        seen, places = (self._subject, self._timeline), self._layout
        if shot == STILL:
            view = still_camera(chosen, *seen, self._still_at, places)
        else:
            view = camera_for(chosen, *seen, shot, places, self._beside)
        picture = Picture(
            run.system,
            Pose(run.position[0], run.quaternion[0]),
            self._action,
            view,
            supersample=(STILL_SAMPLES if view.still else SAMPLES) if options.supersample else 1.0,
            with_stage="stage" in options.layers,
            glowing=self._glowing,
            outlined="outlines" in options.layers,
            parted=self._parted(),
            watch=self._watch,
        )
        for number, body in enumerate(run.system.bodies):
            if self._alone and not body.fixed:
                picture.take_away(number)
            elif options.bodies not in ("all", "alone", "fixed" if body.fixed else "free"):
                picture.hide(number)
        top = self._add_layers(picture)
        return picture, self._words(picture, top)

    def _parted(self) -> dict[str, float]:
        """When each joint that lets go does [s]; without free parts none holds anything."""
        if self._alone:
            return {joint.name: -np.inf for joint in self._run.system.joints}
        loads = self._run.loads.items()
        return {name: load.parted for name, load in loads if not np.isnan(load.parted)}

    def _words(self, picture: Picture, top: float) -> ClipOverlay | FilmWords:
        system, on = self._run.system, self._options.layers
        if not on & DASHBOARD:
            heading = self._heading if len(self._fellows) > 1 else ""
            alarm = warning(self._run.ending)
            if self._number > 0:  # once in a picture
                on = on - {"caution"}
            return FilmWords(
                self._layout,
                shown=on,
                heading=heading,
                alarm=alarm,
                scale=top,
                panels=self._panels(),
                counts=shares((self._run, *self._companions)) if self._companions else (),
            )
        return ClipOverlay(
            self._layout,
            self._heading,
            picture.view.pixels_per_metre(self._action.centre),
            magnets=any(body.is_magnet for body in system.bodies),
            top_polarisation=top,
            arrows="magnetisation" in self._options.layers,
            figures="figures" in self._options.layers,
            panels=self._panels(),
            warning=warning(self._run.ending),
        )

    def _panels(self) -> list[Panel]:
        wanted: list[str] = [name for name in ("plot", "energy") if name in self._options.layers]
        wanted += ["slope"] if self._slope is not None else []
        found: list[Panel] = []
        unit = self._layout.unit
        for name, box in zip(wanted, self._layout.panels, strict=False):
            if name == "slope":
                if self._slope is not None and self._part is not None:
                    of = self._slope, self._run, self._part
                    found.append(EnergySlope(*of, box, unit, self._layout.least))
            elif name == "energy":
                found.append(EnergyBars(self._run.energy, box, unit, self._run.twins))
            elif self._part is not None:
                speed = np.linalg.norm(self._run.velocity[:, self._part], axis=1)
                blow = self._blow.time if self._blow is not None else None
                found.append(SpeedPlot(self._run, speed, box, unit, self._part, blow))
        return found

    def _add_layers(self, picture: Picture) -> float:
        """Add what is switched on; returns the top of the polarisation's scale [T], 0 for none."""
        run, on, hair = self._run, self._options.layers, picture.line
        part, given = self._part, picture.plotter
        polarised = on & {"section", "magnetisation"} and any(r.cells for r in self._fellows)
        top = max(top_polarisation(r.magnetisation) for r in self._fellows) if polarised else 0.0
        if "section" in on and top > 0:
            section = SectionLayer(given, run, picture.view.axes)
            for number in section.bodies:
                picture.body(number).hide()
            picture.add(section)
        if self._glowing:
            picture.add(Glow(run, {i: picture.body(i).mesh for i in self._glowing}))
        if "magnetisation" in on and top > 0:
            where = run.position, run.quaternion
            cells = run.system.bodies, run.cells, run.magnetisation
            picture.add(Magnetisation(given, *cells, *where, top))
        if part is not None:
            self._add_part_layers(picture, part)
        seen = self._action.centre, self._action.size, picture.view.axes
        if "lines" in on and any(b.is_magnet for b in run.system.bodies):
            self._need_cells()
            picture.add(FieldLines(given, run, *seen))
        if "bare" in on and any(b.is_magnet for b in run.system.bodies):
            picture.add(FieldLines(given, run, *seen, bare=True))
        if "gap" in on:
            picture.add(GapLine(given, run, 2 * hair))
        self._add_pair(picture)
        if "hands" in on and run.system.hands:
            picture.add(HandMarks(given, run, self._action.size, 2 * hair))
        if self._companions:
            runs = (run, *self._companions)
            picture.add(Fan(given, runs, self._lags, self._action.size, 2 * hair))
        return top

    def _add_pair(self, picture: Picture) -> None:
        """What two parts do to each other: asked for, or while it drives them apart."""
        run, on, size = self._run, self._options.layers, self._action.size
        twice = len(self._fellows) > 1 and all(r is run for r in self._fellows)
        if self._alone or twice:  # what it is shown for is something else
            return
        teaches = "words" in on and any(e.kind == EventKind.PARTING for e in find_events(run))
        pair = pair_of(run) if "between" in on or teaches else None
        if pair is None:
            return
        force = PairForce(run, pair, size)
        span = None if "between" in on else parts_them(run, force)
        if "between" in on or span is not None:
            picture.add(Between(picture.plotter, run, force, size, span))

    def _need_cells(self) -> None:
        """Refuse a run without the magnetisation that field lines need."""
        missing = [
            b.name for b in self._run.system.bodies if b.is_soft and b.name not in self._run.cells
        ]
        if missing:
            raise InputError(
                f'"lines" needs the cells of {missing[0]}, which this run does not hold; make it'
                " with release, or sweep --keep all",
                key="layer",
            )

    def _add_part_layers(self, picture: Picture, part: int) -> None:
        run, on, hair, given = self._run, self._options.layers, picture.line, picture.plotter
        if "ghosts" in on:
            size = float(np.linalg.norm(run.system.bodies[part].shape.extents))
            until = self._blow.time if self._blow is not None else float(run.time[-1])
            path = run.time, run.position[:, part], run.quaternion[:, part]
            start = run.position[0], run.quaternion[0]
            passed = places_passed(*path, size, until)
            picture.add(Ghosts(given, run.system.bodies, *start, 1.4 * hair, part, passed))
        if "trail" in on:
            picture.add(Trail(given, part, run.time, run.position, 3.5 * hair))
        for name in ("velocity", "force", "torque"):
            if name in on:
                what = QUANTITIES[name]
                most = max(largest(what, r, i) for r in self._fellows for i in _parts(r))
                picture.add(Vector(given, what, run, part, self._action.size, most))


def _blow_line(blow: Impact) -> StoryLine:
    """A blow's announcement, outside of any telling."""
    return StoryLine(0.0, 0.0, *blow_words(blow))


def subject_of(run: Trajectory, action: Action, options: ClipOptions, lag: float) -> Subject:
    """Return what cameras look at in a run; times are the clip's simulated ones."""
    part = leading_part(run.system, run.velocity)
    bodies, pose = run.system.bodies, Pose(run.position[0], run.quaternion[0])
    free = [i for i, b in enumerate(bodies) if not b.fixed] or list(range(len(bodies)))
    part = free[0] if part is None else part
    blow = first_blow(run)

    def part_at(time: float) -> Array:
        m = sample(run, time - lag)
        return corners(bodies[part], m.position[part : part + 1], m.quaternion[part : part + 1])

    return Subject(
        action,
        choose_axes(run.system, pose, action, options.shot.view),
        part_at,
        Cast(run, part),
        blow.time if blow is not None else float(run.time[-1]),
        obstacles_of(run.system, pose, action.path),
        lag,
    )


def _parts(run: Trajectory) -> list[int]:
    """The leading part of a run, if it has one."""
    found = leading_part(run.system, run.velocity)
    return [] if found is None else [found]


def _layout(
    options: ClipOptions, size: tuple[int, int], part: int | None, abreast: bool, slope: bool
) -> PictureLayout:
    """Places of the words; runs abreast have no room for panels."""
    if not options.layers & DASHBOARD:
        return lay_out_film(*size, heading=abreast, panel=slope)
    wanted = {"plot", "energy"} if part is not None and not abreast else set()
    wanted |= {"slope"} if slope else set()
    return lay_out(*size, panels=len(wanted & options.layers))


def joint_action(runs: Sequence[Trajectory]) -> Action:
    """Return what a camera must hold to show the same of every run."""
    found = [
        find_action(r.system, r.position, r.quaternion, leading_part(r.system, r.velocity))
        for r in runs
    ]
    if len(found) == 1:
        return found[0]
    first = found[0]
    return Action(
        held=np.concatenate([a.held for a in found]),
        swept=np.concatenate([a.swept for a in found]),
        centre=first.centre,
        size=max(a.size for a in found),
        path=first.path,
        joined=np.concatenate([a.joined for a in found]),
    )
