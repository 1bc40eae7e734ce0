"""What the browser may ask of the server. Each answer is plain data; a bad value is an answer too.

Every call names its tab, so that each has its own scene. None takes longer than it may take to
draw a frame or two: what is long goes to a lane, and `standing` tells how far it is.
"""

from __future__ import annotations

import functools
import secrets
import tempfile
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import numpy as np
from pydantic import BaseModel, ConfigDict, ValidationError, validate_call

from snapsim.analysis.cautions import CAUTIONS
from snapsim.arrays import Array
from snapsim.errors import InputError, SnapsimError
from snapsim.landscape.place import Place
from snapsim.numerics import rotations
from snapsim.page import edits
from snapsim.page.bench import Bench, Run, Source
from snapsim.page.draft_job import draft_work
from snapsim.page.dropped_mesh import DroppedMesh, named
from snapsim.page.energy_curve import curve_work, margin_work
from snapsim.page.export import clip_work, html_work
from snapsim.page.field_lines_job import lines_work
from snapsim.page.jobs import Lane, PageJob, cancel, stop
from snapsim.page.parts_job import parts_work
from snapsim.page.pose import FARTHEST, typed, with_unit
from snapsim.page.rehearsing import Rehearsing
from snapsim.page.release_job import differ_work, load_work, release_work
from snapsim.page.study_jobs import STUDIES, study_begun_with, study_work
from snapsim.scenario.examples import example as named_example
from snapsim.scenario.examples import examples
from snapsim.scenario.loading import scene_text
from snapsim.scenario.quantities import FORCE, parse
from snapsim.scenario.shapes import SHAPE_TABLES

MOST_TABS = 16
"""Tabs that are remembered; the one not used for longest, and idle, is forgotten."""

MOST_TEXT = 100_000
"""Characters of a study that are taken."""

MOST_HAND = 2000.0
"""The most force [N] that a rehearsing hand, or two with a handle, may be given."""

Reply = dict[str, Any]


class HandTold(BaseModel):
    """What a rehearsing hand may be told: where it is wanted (`position` (3) [m] with `quaternion`
    (4)), a number `seq` that comes back, whether it is `held`, its `pace`, that it is the `end`."""

    model_config = ConfigDict(strict=True, extra="forbid", frozen=True)

    position: list[float] | None = None
    quaternion: list[float] | None = None
    seq: int | None = None
    held: bool | None = None
    pace: float | None = None
    end: bool | None = None

    @property
    def wanted(self) -> dict[str, list[float]]:
        """Where the hand is wanted, {} where that was not told; raises InputError."""
        if self.position is None and self.quaternion is None:
            return {}
        if self.position is None or self.quaternion is None:
            missing = "position" if self.position is None else "quaternion"
            raise InputError("is missing; a hand is told both its place and its turn", key=missing)
        place = _finite(self.position, 3, "position").clip(-FARTHEST, FARTHEST)
        return {"position": place.tolist(), "quaternion": _turn(self.quaternion).tolist()}


def answering(call: Callable[..., Reply]) -> Callable[..., Reply]:
    """Turn a bad value into an answer: which key, and one line. What is given is first held against
    the call's own types, so that no call needs to look for what is missing or of another kind."""
    checked = validate_call(config=ConfigDict(strict=True, arbitrary_types_allowed=True))(call)
    names = call.__code__.co_varnames[: call.__code__.co_argcount]

    @functools.wraps(call)
    def guarded(*args: Any, **kwargs: Any) -> Reply:
        try:
            return checked(*args, **kwargs)
        except ValidationError as error:
            return {"error": _misgiven(error, names)}
        except InputError as error:
            return {"error": {"key": error.key, "message": error.message}}
        except SnapsimError as error:
            return {"error": {"key": None, "message": str(error)}}
        except Exception as error:  # told where it was asked for, once: trame would only log it
            said = " ".join(f"{type(error).__name__}: {error}".split())[:200]
            return {
                "error": {"key": None, "message": f"unexpected fault in {call.__name__}: {said}"}
            }

    return guarded


def _misgiven(error: ValidationError, names: Sequence[str]) -> Reply:
    """Which of what a call was given is wrong, in one line; a number in its place is a name."""
    first = error.errors(include_url=False, include_input=False)[0]
    place = [names[p] if k == 0 and isinstance(p, int) and p < len(names) else str(p)
             for k, p in enumerate(first["loc"])]  # fmt: skip
    return {"key": ".".join(place)[:80], "message": " ".join(first["msg"].split())}


class Desk:
    """All tabs of one server, its lanes and the folder of what it wrote."""

    def __init__(self, source: Source, run: str | None = None) -> None:
        self.source, self.first_run = source, run
        self.executor = ThreadPoolExecutor(1)
        Bench(source, self.executor)  # refuses a bad scene before anything is begun
        self.tabs: dict[str, Bench] = {}
        self.runs, self.looks = Lane(), Lane()  # letting go and drawing; looking before
        self.drafts, self.studies = Lane(), Lane()
        self.rehearsals: dict[str, Rehearsing] = {}
        self.folder = tempfile.TemporaryDirectory(prefix="snapsim-page-")
        self.numbers = 0
        self.dropped: dict[str, DroppedMesh] = {}

    def close(self) -> None:
        """End the worker processes and remove what was written."""
        self.runs.close()
        self.looks.close()
        self.drafts.close()
        self.studies.close()
        for rehearsal in self.rehearsals.values():
            rehearsal.close()
        self.executor.shutdown(wait=False, cancel_futures=True)
        self.folder.cleanup()

    def bench(self, tab: str) -> Bench:
        """Return a tab's state, made on its first call."""
        if tab not in self.tabs:
            self._forget_one()
            self.tabs[tab] = Bench(self.source, self.executor)
            if self.first_run is not None:
                self._load(self.tabs[tab], self.first_run, Path(self.first_run).stem)
        self.tabs[tab] = self.tabs.pop(tab)  # the last used is the last
        return self.tabs[tab]

    def _forget_one(self) -> None:
        idle = [t for t, b in self.tabs.items() if not any(j.active for j in b.jobs.values())]
        if len(self.tabs) >= MOST_TABS and idle:
            del self.tabs[idle[0]]

    # --- the scene and the pose -----------------------------------------------------------------

    @answering
    def hello(self, tab: str) -> Reply:
        """All that a page needs when it is opened or loaded again."""
        bench = self.bench(tab)
        self._end_rehearsal(tab)
        return {
            "view": bench.view(),
            "figures": bench.figures(),
            "standing": self._standing(bench),
            "cautions": list(CAUTIONS),
            "examples": [{"name": e.name, "title": e.title} for e in examples().values()],
            "kinds": list(edits.KINDS),
            "shapes": [k for k in SHAPE_TABLES if k not in ("mesh", "compound")],
            "study": study_begun_with(bench.system.title),
            "tabs": len(self.tabs),
        }

    @answering
    def move(
        self, tab: str, position: list[float], quaternion: list[float], stroke: int | None = None
    ) -> Reply:
        """Bring the part to a position [m] and quaternion;
        moves of one stroke are one step for undo."""
        bench = self.bench(tab)
        place = Place(_finite(position, 3, "position"), _turn(quaternion))
        bench.move(typed(place), stroke)
        return {"figures": bench.figures(), "pose": bench.shown_pose()}

    @answering
    def type_pose(self, tab: str, field: str, text: str) -> Reply:
        """Set one field of the pose as typed: "x", "y", "z", "about_x", "about_y", "about_z",
        "gap"."""
        bench = self.bench(tab)
        if field == "gap":
            bench.set_gap(text)
        else:
            bench.move(bench.pose.with_field(field, text))
        return {"figures": bench.figures(), "pose": bench.shown_pose()}

    @answering
    def look(self, tab: str) -> Reply:
        """The figures where the part is now."""
        bench = self.bench(tab)
        return {"figures": bench.figures(), "pose": bench.shown_pose()}

    @answering
    def back(self, tab: str) -> Reply:
        """Bring the part back to where the scene has it."""
        bench = self.bench(tab)
        bench.reset_pose()
        return {"figures": bench.figures(), "pose": bench.shown_pose()}

    @answering
    def set_down(self, tab: str) -> Reply:
        """Set the part down on what lies under it."""
        bench = self.bench(tab)
        bench.set_down()
        return {"figures": bench.figures(), "pose": bench.shown_pose()}

    @answering
    def lay_flat(self, tab: str) -> Reply:
        """Lay the part flat on the nearest face of another body."""
        bench = self.bench(tab)
        bench.lay_flat()
        return {"figures": bench.figures(), "pose": bench.shown_pose()}

    @answering
    def to_pole(self, tab: str) -> Reply:
        """Bring the part before the middle of the nearest pole."""
        bench = self.bench(tab)
        bench.to_pole()
        return {"figures": bench.figures(), "pose": bench.shown_pose()}

    @answering
    def put(self, tab: str, key: str, value: str | None) -> Reply:
        """Change a key of the scene, or take its change back."""
        bench = self.bench(tab)
        bench.put(key, value)
        return {"view": bench.view(), "figures": bench.figures()}

    @answering
    def choose(self, tab: str, name: str) -> Reply:
        """Choose which part is moved."""
        bench = self.bench(tab)
        bench.choose(name)
        return {"view": bench.view(), "figures": bench.figures()}

    @answering
    def edit(self, tab: str, kind: str, name: str) -> Reply:
        """Add, duplicate, remove, lock or free a body, joint or hand."""
        return self._seen(tab, lambda bench: bench.edit(kind, name))

    @answering
    def reshape(self, tab: str, name: str, kind: str) -> Reply:
        """Give a body another kind of shape."""
        return self._seen(tab, lambda bench: bench.reshape(name, kind))

    @answering
    def resize(
        self, tab: str, name: str, key: str, which: int, value: float, stroke: int | None = None
    ) -> Reply:
        """Draw grip number `which` of a body to a size [m]; those of one stroke are one step."""
        size = float(_finite([value], 1, key)[0])
        return self._seen(tab, lambda bench: bench.resize(name, key, which, size, stroke))

    @answering
    def add_mesh(self, tab: str, file: str, unit: str) -> Reply:
        """Put a part of a mesh that was dropped before onto the stage."""
        if file not in self.dropped:
            raise InputError("is not here any more; drop it again", key="file")
        return self._seen(tab, lambda bench: bench.add_mesh(self.dropped[file], unit))

    @answering
    def know_mesh(self, tab: str, file: str, name: str) -> Reply:
        """Let a mesh that was dropped before stand for a name in a scene that is opened next."""
        if file not in self.dropped:
            raise InputError("is not here any more; drop it again", key="file")
        self.bench(tab).meshes[name] = self.dropped[file].path
        return {}

    @answering
    def undo(self, tab: str) -> Reply:
        """Go one step back."""
        return self._seen(tab, Bench.undo)

    @answering
    def redo(self, tab: str) -> Reply:
        """Go one step forward again."""
        return self._seen(tab, Bench.redo)

    @answering
    def retext(self, tab: str, text: str) -> Reply:
        """Take the whole scene as TOML that was typed."""
        return self._seen(tab, lambda bench: bench.retext(text))

    @answering
    def open(self, tab: str, text: str, file: str) -> Reply:
        """Take a scene from a file of the reader's, or that the browser kept."""
        return self._seen(tab, lambda bench: bench.open(text, file))

    @answering
    def begin(self, tab: str, example: str) -> Reply:
        """Begin with an example by name, or ("") with a new scene."""
        text = edits.NEW if not example else scene_text(str(named_example(example).files[0]))
        file = f"{example or 'scene'}.toml"
        return self._seen(tab, lambda bench: bench.open(text, file))

    @answering
    def toml(self, tab: str) -> Reply:
        """The scene as text."""
        return {"toml": self.bench(tab).toml()}

    def _seen(self, tab: str, change: Callable[[Bench], None]) -> Reply:
        bench = self.bench(tab)
        change(bench)
        return {"view": bench.view(), "figures": bench.figures()}

    # --- long work --------------------------------------------------------------------------------

    @answering
    def release(self, tab: str) -> Reply:
        """Let the free bodies go."""
        bench = self.bench(tab)
        given = bench.given()
        self._supersede(bench, "draft")  # the release itself says more
        number, path = self._new_file(".h5")
        job = self.runs.submit("release", release_work, given | {"path": path})
        bench.runs[job.number] = Run(job.number, f"run {number}", path, job)
        return self._begun(bench, job)

    def _load(self, bench: Bench, path: str, name: str) -> PageJob:
        job = self.runs.submit("load", load_work, {"path": path})
        bench.runs[job.number] = Run(job.number, name, path, job)
        bench.jobs[job.number] = job
        return job

    @answering
    def rehearse_begin(self, tab: str, limit: str, pace: float) -> Reply:
        """Begin to rehearse with a hand of a force `limit`, at a pace (1: true speed)."""
        bench = self.bench(tab)
        try:
            force = parse(with_unit(limit, "N"), FORCE)[0]
        except ValueError as error:
            raise InputError(str(error), key="limit") from None
        if not 0 < force <= MOST_HAND:
            raise InputError(f"is {limit}; must be above 0, up to {MOST_HAND:g} N", key="limit")
        self._supersede(bench, "draft")
        self._end_rehearsal(tab)
        number, path = self._new_file(".h5")
        given = bench.given() | {"limit_N": force, "pace": _pace(pace), "path": path}
        self.rehearsals[tab] = Rehearsing(given | {"name": f"rehearsal {number}"})
        return {"state": "starting"}

    @answering
    def rehearse(self, tab: str, hand: HandTold) -> Reply:
        """Tell the rehearsing hand something; return the newest moment."""
        found = self.rehearsals.get(tab)
        if found is None:
            raise InputError("nothing is rehearsed; begin again")
        plain = hand.model_dump(include={"held", "end", "seq"}, exclude_none=True)
        told: dict[str, Any] = plain | hand.wanted
        if hand.pace is not None:
            told["pace"] = _pace(hand.pace)
        if told:
            found.tell(told)
        found.hear()
        self._look_ahead(found)
        reply = found.news()
        if found.state == "done":
            job = self._load(self.bench(tab), found.given["path"], found.given["name"])
            reply |= {"job": job.number, **self._standing(self.bench(tab))}
        if found.state in ("done", "failed"):
            self._end_rehearsal(tab)
        return reply

    def _look_ahead(self, found: Rehearsing) -> None:
        """Have it looked at what happens if the hand lets go now, one such release at a time."""
        look = found.look
        if look is not None and look.state == "done":
            found.let_go = look.result
        if found.state != "running" or (look is not None and look.active):
            return
        if found.looked_at != found.moments:
            found.looked_at = found.moments
            found.look = self.drafts.submit("ahead", draft_work, found.as_now())

    def _end_rehearsal(self, tab: str) -> None:
        found = self.rehearsals.pop(tab, None)
        if found is not None:
            found.close()

    @answering
    def explain(self, tab: str, what: str) -> Reply:
        """Begin what acts on each part, the curve of energy against tilt, or the margins, from the
        present pose."""
        bench = self.bench(tab)
        works = {"parts": parts_work, "curve": curve_work, "margin": margin_work}
        if what not in works:
            raise InputError(f'is "{what}"; allowed: {", ".join(works)}', key="what")
        later = list(works)[list(works).index(what) :]  # they are asked for in this order
        for job in [j for j in bench.jobs.values() if j.kind in works]:
            if job.kind in later:  # of an earlier pose: what is left of it is no use
                cancel(job)
            if not job.active:
                del bench.jobs[job.number]
        lane = self.drafts if what == "parts" else self.looks  # short work before long
        return self._begun(bench, lane.submit(what, works[what], bench.given()))

    @answering
    def study(self, tab: str, what: str, asked: dict[str, str]) -> Reply:
        """Begin a study of the scene as it stands: "rests", "fates" over the spans "first" and
        "second", or a "sweep" of the "study" that is given as text."""
        if what not in STUDIES:
            raise InputError(f'is "{what}"; allowed: {", ".join(STUDIES)}', key="what")
        bench = self.bench(tab)
        if named(bench.document) - set(bench.meshes):
            raise InputError("a scene with mesh files is studied from the terminal: save it first")
        texts = {k: asked.get(k, "") for k in ("first", "second", "study")}
        for key, text in texts.items():
            if len(text) > MOST_TEXT:
                raise InputError(f"has more than {MOST_TEXT:,} characters", key=key)
        _, path = self._new_file("")
        given = bench.given() | texts | {"what": what, "folder": path}
        return self._begun(bench, self.studies.submit("study", study_work, given))

    @answering
    def draft(self, tab: str) -> Reply:
        """Begin a draft release of the scene as it stands; one of an earlier state is cancelled."""
        bench = self.bench(tab)
        self._supersede(bench, "draft")
        return self._begun(bench, self.drafts.submit("draft", draft_work, bench.given()))

    def _supersede(self, bench: Bench, kind: str) -> None:
        for job in [j for j in bench.jobs.values() if j.kind == kind]:
            cancel(job)
            if not job.active:
                del bench.jobs[job.number]

    @answering
    def lines(self, tab: str, run: int | None, time: float) -> Reply:
        """Begin the field lines of a run at a time, or of the scene as placed."""
        bench = self.bench(tab)
        self._supersede(bench, "lines")
        of = None if run is None else self._run(bench, run).path
        given = bench.given() | {"run": of, "time": time}
        return self._begun(bench, self.looks.submit("lines", lines_work, given))

    @answering
    def differ(self, tab: str, one: int, other: int) -> Reply:
        """Begin to look what sets two runs apart, as a heading for each."""
        bench = self.bench(tab)
        runs = [self._run(bench, number).path for number in (one, other)]
        return self._begun(bench, self.drafts.submit("differ", differ_work, {"runs": runs}))

    @answering
    def clip(self, tab: str, run: int, width: int, height: int) -> Reply:
        """Begin a clip of a run."""
        bench = self.bench(tab)
        _, path = self._new_file(".mp4")
        given = {"run": self._run(bench, run).path, "path": path, "width": width, "height": height}
        return self._begun(bench, self.runs.submit("clip", clip_work, given))

    @answering
    def html(self, tab: str, run: int) -> Reply:
        """Begin the HTML file of a run."""
        bench = self.bench(tab)
        _, path = self._new_file(".html")
        given = {"run": self._run(bench, run).path, "path": path}
        return self._begun(bench, self.looks.submit("html", html_work, given))

    @answering
    def stop(self, tab: str, number: int, keep: bool = False) -> Reply:
        """Cancel a job of this tab, or (`keep`) let it end with what it has found."""
        bench = self.bench(tab)
        if number in bench.jobs:
            (stop if keep else cancel)(bench.jobs[number])
        return self._standing(bench)

    @answering
    def standing(self, tab: str) -> Reply:
        """How far this tab's jobs are, and which runs it has."""
        return self._standing(self.bench(tab))

    @answering
    def result(self, tab: str, number: int) -> Reply:
        """What came of a job that is done."""
        job = self.bench(tab).jobs.get(number)
        if job is None or job.result is None:
            raise InputError(f"job {number} has no result", key="number")
        if "folder" in job.result:
            below = f"files/{job.result['folder']}"
            names = ("pictures", "pages")
            return {
                "result": job.result | {k: [f"{below}/{n}" for n in job.result[k]] for k in names}
            }
        if "path" in job.result:
            return {"file": f"files/{Path(job.result['path']).name}"}
        return {"result": job.result}

    @answering
    def file_of(self, tab: str, run: int) -> Reply:
        """Where the browser finds a run's file."""
        return {"file": f"files/{Path(self._run(self.bench(tab), run).path).name}"}

    def _run(self, bench: Bench, number: int) -> Run:
        run = bench.runs.get(number)
        if run is None or run.job.state != "done":
            raise InputError(f"run {number} is not there", key="run")
        return run

    def _begun(self, bench: Bench, job: PageJob) -> Reply:
        bench.jobs[job.number] = job
        return {"job": job.number, **self._standing(bench)}

    def _standing(self, bench: Bench) -> Reply:
        return {
            "jobs": [job.standing() for job in bench.jobs.values()],
            "runs": [
                {"number": run.number, "name": run.name}
                for run in bench.runs.values()
                if run.job.state == "done"
            ],
        }

    def _new_file(self, ending: str) -> tuple[int, str]:
        self.numbers += 1
        name = f"{self.numbers:03d}-{secrets.token_hex(4)}{ending}"
        return self.numbers, str(Path(self.folder.name) / name)


def _pace(given: float) -> float:
    """A pace between a hundredth of true speed and that."""
    return float(_finite([given], 1, "pace").clip(0.01, 1.0)[0])


def _turn(given: list[float]) -> Array:
    """A quaternion (4,) as given, of length 1; raises InputError."""
    turn = _finite(given, 4, "quaternion")
    if not turn.any():
        raise InputError("is no rotation", key="quaternion")
    return rotations.normalise(turn / np.abs(turn).max())  # no square leaves the range of numbers


def _finite(given: list[float], count: int, key: str) -> Array:
    """So many numbers as an array; raises InputError."""
    try:
        found = np.array(given, dtype=np.float64)
    except (TypeError, ValueError, OverflowError):
        found = np.empty(0)
    if found.shape != (count,) or not np.isfinite(found).all():
        raise InputError(f"must be {count} numbers", key=key)
    return found


CALLS = (
    "hello", "move", "type_pose", "look", "back", "set_down", "put", "choose", "edit", "reshape",
    "undo", "redo", "retext", "open", "begin", "toml", "release", "explain",
    "draft", "lines", "clip", "html", "stop", "standing", "result", "file_of",
    "differ", "lay_flat", "to_pole", "study", "resize", "add_mesh", "know_mesh",
    "rehearse_begin", "rehearse",
)  # fmt: skip
"""Names of the calls that the browser may make."""
