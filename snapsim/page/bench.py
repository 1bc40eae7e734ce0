"""One tab's scene: its document, where the part is, what acts on it, its runs; undo and redo.

The document is the scene, the pose of the part that is moved included. Its text has the comments
and the order of the text that was opened.
"""

from __future__ import annotations

import hashlib
import json
import threading
from collections.abc import Callable, Sequence
from concurrent.futures import Executor, Future
from dataclasses import dataclass, field
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np

from snapsim.errors import InputError
from snapsim.landscape.constraints import Constraints
from snapsim.landscape.place import Place
from snapsim.landscape.spacing import set_down
from snapsim.mechanics.contact import ContactGeometry
from snapsim.numerics import rotations
from snapsim.page import edits
from snapsim.page.aligning import before_pole, laid_flat
from snapsim.page.dropped_mesh import UNITS, DroppedMesh, located, named
from snapsim.page.edits import Document, changes_between
from snapsim.page.fields import as_typed, scene_fields
from snapsim.page.figures import Probe, probe
from snapsim.page.grips import drawn, grips, grips_view
from snapsim.page.jobs import PageJob
from snapsim.page.pose import TypedPose, typed, with_unit
from snapsim.page.scene_view import scene_view
from snapsim.page.spacing import at_gap, kept_on_joints
from snapsim.parts.bodies import Body
from snapsim.scenario.changes import apply_changes, value_at
from snapsim.scenario.describing import system_of
from snapsim.scenario.quantities import LENGTH, parse
from snapsim.scenario.text_file import toml_document
from snapsim.scenario.toml_text import inline, rewritten
from snapsim.simulation.conductors import brakes
from snapsim.simulation.system import System

PROBE_DETAIL = "draft"
"""Cells for the figures while the part is moved; a release takes the scene's own."""

MOST_STEPS = 200
"""Steps that undo remembers."""

MOST_PLACES = 30
"""Places that are tried for a new body."""


@dataclass(frozen=True)
class Source:
    """A scene as text; `file` names it and is where its mesh files are; `changes` as --set. The
    `starter` is the scene that `snapsim new` writes; neither it nor an `unsaved` one is a file."""

    text: str
    file: str
    changes: tuple[str, ...] = ()
    starter: bool = False
    unsaved: bool = False


@dataclass
class Run:
    """A run of this tab: its file, what the browser needs to play it, how it is called."""

    number: int
    name: str
    path: str
    job: PageJob


@dataclass(frozen=True)
class Snapshot:
    """What undo goes back to: what was opened, the text whose comments are kept, the document, the
    part that is moved."""

    source: Source
    text: str
    document: Document
    part: str


@dataclass
class Bench:
    """The state of one tab. Only the server's own thread changes it."""

    source: Source
    executor: Executor
    runs: dict[int, Run] = field(default_factory=dict)
    jobs: dict[int, PageJob] = field(default_factory=dict)
    meshes: dict[str, str] = field(default_factory=dict)
    text: str = field(init=False)
    document: Document = field(init=False)
    system: System = field(init=False)
    part: int = field(init=False)
    pose: TypedPose = field(init=False)
    lock: threading.Lock = field(default_factory=threading.Lock)
    past: list[Snapshot] = field(default_factory=list)
    future: list[Snapshot] = field(default_factory=list)
    _poses: dict[str, TypedPose] = field(default_factory=dict)
    _stroke: int | None = None
    _probe: Future[Probe] | None = None
    _constraints: Constraints | None = None

    def __post_init__(self) -> None:
        self.text = self.source.text
        self._take(self._opened(), None)

    @property
    def part_name(self) -> str:
        """Name of the part that is moved."""
        return self.system.bodies[self.part].name

    def toml(self) -> str:
        """Return the scene as text, with the comments of what was opened."""
        return rewritten(self.text, self.document)

    def all_changes(self) -> list[str] | None:
        """Return what differs from the file as --set takes it, None where --set cannot say it."""
        if self.source.unsaved:
            return None
        keys = changes_between(_documents(self.source)[0], self.document)
        if keys is None:
            return None
        at = {key: value_at(self.document, key, self.source.file) for key in keys}
        return [f"{key}={inline(value)}" for key, value in at.items()]

    def put(self, key: str, value: str | None) -> None:
        """Change one key of the scene, or take its change back; raises InputError, and then nothing
        has changed."""
        file = self.source.file
        if value is not None:
            typed_in = as_typed(value, self._shown(key))
            self.commit(apply_changes(self.document, [f"{key}={typed_in}"], file))
            return
        before = value_at(self._opened(), key, file)
        if before is None:
            raise InputError("was not in the file that was opened; use Undo", key=key)
        self.commit(apply_changes(self.document, [f"{key}={inline(before)}"], file))

    def _shown(self, key: str) -> str:
        groups = scene_fields(self.document, self.part_name)
        return next((f["value"] for g in groups for f in g["fields"] if f["key"] == key), "")

    def choose(self, name: str) -> None:
        """Make another free body the part that is moved; raises InputError."""
        self._take(self.document, name)
        self._stroke = None

    def commit(self, document: Document, part: str | None = None, text: str | None = None) -> None:
        """Make `document` the scene, one step for undo; raises InputError, and then nothing has
        changed. `text` has the comments from now on."""
        before = self._now()
        self._take(document, part or self.part_name)
        self.text = self.text if text is None else text
        self.past.append(before)
        del self.past[:-MOST_STEPS]
        self.future.clear()
        self._stroke = None

    def edit(self, kind: str, name: str) -> None:
        """Do one named edit: "remove", "lock", "free" or "duplicate" a body, or "add" a kind."""
        x, y, z = self.pose.position
        if kind == "remove":
            self.commit(edits.removed(self.document, name))
        elif kind in ("lock", "free"):
            self.commit(edits.locked(self.document, name, kind == "lock"))
        elif kind == "duplicate":
            at = self._centre(name)
            self._placed(lambda p: edits.duplicated(self.document, name, p), at)
        elif kind == "add" and name in edits.BODIES:
            self._placed(lambda p: edits.with_body(self.document, name, p), self._beside(name))
        elif kind == "add" and name in edits.JOINTS:
            self.commit(edits.with_joint(self.document, name, self.part_name, (x, y, z)))
        elif kind == "add" and name == "hand":
            magnets = [b.name for b in self.system.bodies if b.is_magnet]
            self.commit(edits.with_hand(self.document, (magnets or [self.part_name])[0]))
        else:
            raise InputError(f'"{name}" cannot be added; allowed: {", ".join(edits.KINDS)}')

    def reshape(self, name: str, kind: str) -> None:
        """Give a body another kind of shape; raises InputError."""
        self.commit(edits.reshaped(self.document, name, kind))

    def resize(
        self, name: str, key: str, which: int, value: float, stroke: int | None = None
    ) -> None:
        """Draw grip number `which` of a body's `key` to a size [m]; raises InputError. Sizes of one
        `stroke` are one step for undo."""
        table = edits.body_of(self.document, name)
        number = self.system.number(name)
        mine = grips(table.get("shape", {}), self.system.bodies[number])
        if not 0 <= which < len(mine) or mine[which].key != key:
            raise InputError(f'"{name}" has no such size to draw', key=key)
        grip, pose = mine[which], self.system.start.pose
        way = rotations.rotate(pose.quaternion[number], np.array(grip.axis))
        shift = (1e3 * grip.shift * (value - grip.value) * way).tolist()
        shape = drawn(table["shape"], grip, value)
        before = self._stroke
        centre = (1e3 * pose.position[number]).tolist()
        self.commit(edits.resized(self.document, name, shape, centre, shift))
        if stroke is not None and stroke == before:
            self.past.pop()
        self._stroke = stroke

    def add_mesh(self, mesh: DroppedMesh, unit: str) -> None:
        """Put a part of a mesh file's surface, its numbers in `unit`, where there is room; raises
        InputError, and then nothing has changed."""
        try:
            scale = parse(f"1 {unit}", LENGTH)[0]
        except ValueError:
            raise InputError(f'"{unit}" is no unit of length; like {UNITS}', key="unit") from None
        if not 1e-4 <= scale * max(mesh.size) <= 5.0:
            said = f"makes it {1e3 * scale * max(mesh.size):.3g} mm long; 0.1 mm to 5 m are taken"
            raise InputError(said, key="unit")
        file, known = mesh.name, dict(self.meshes)
        stem, _, ending = file.rpartition(".")
        taken = named(self.document) | set(known)
        names = [file, *(f"{stem}-{n}.{ending}" for n in range(2, len(taken) + 3))]
        file = next(n for n in names if n not in taken)
        self.meshes = known | {file: mesh.path}
        x, y, z = self._beside("part")
        z += 500.0 * scale * mesh.size[2]
        try:
            self._placed(lambda p: edits.with_mesh(self.document, file, unit, p), (x, y, z))
        except InputError:
            self.meshes = known
            raise

    def lay_flat(self) -> None:
        """Lay the part flat on the nearest face of another body; raises InputError."""
        self.move(typed(laid_flat(self.system, self.part, self.pose.place)))

    def to_pole(self) -> None:
        """Bring the part before the middle of the nearest pole; raises InputError."""
        self.move(typed(before_pole(self.system, self.part, self.pose.place)))

    def retext(self, text: str) -> None:
        """Take a whole scene as typed; raises InputError."""
        self.commit(toml_document(text, self.source.file), text=text)

    def open(self, text: str, file: str) -> None:
        """Take another scene, which `file` names and which is no file that this program knows of;
        raises InputError."""
        self.commit(toml_document(text, file), text=text)
        self.source = Source(text, file, unsaved=True)

    def undo(self) -> None:
        """Go one step back; raises InputError where there is none."""
        self._step(self.past, self.future, "undo")

    def redo(self) -> None:
        """Go one step forward again; raises InputError where there is none."""
        self._step(self.future, self.past, "redo")

    def _step(self, of: list[Snapshot], to: list[Snapshot], word: str) -> None:
        if not of:
            raise InputError(f"there is nothing to {word}")
        to.append(self._now())
        found = of.pop()
        self.source, self.text = found.source, found.text
        self._poses.clear()
        self._take(found.document, found.part)
        self._stroke = None

    def _now(self) -> Snapshot:
        return Snapshot(self.source, self.text, self.document, self.part_name)

    def _placed(self, make: Callable[[Sequence[float]], Document], at: Sequence[float]) -> None:
        """Commit what `make` gives at the first place [mm] beside `at` that is free."""
        x, y, z = at
        for k in range(MOST_PLACES):
            document = make((x + 40.0 * k, y, z))
            system = self._system(document)
            geometry = ContactGeometry(system.bodies, system.surfaces)
            new = len(system.bodies) - 1
            gaps = geometry.gaps(system.start.pose)
            mine = [g for g, pair in zip(gaps, geometry.pairs, strict=True) if new in pair]
            if min(mine, default=0.0) >= 0.0:
                name = system.bodies[new].name
                self.commit(document, None if system.bodies[new].fixed else name)
                return
        raise InputError("no free place was found for it; move what stands in the way")

    def _centre(self, name: str) -> list[float]:
        edits.body_of(self.document, name)
        return [1e3 * c for c in self.system.start.pose.position[self.system.number(name)]]

    def _beside(self, kind: str) -> tuple[float, float, float]:
        """Where a new body is tried first [mm]: parts on the table, magnets where magnets are."""
        heights = [float(c) for c in 1e3 * self.system.start.pose.position[:, 2]]
        low = [
            h + 500.0 * float(b.shape.extents[2])
            for h, b in zip(heights, self.system.bodies, strict=True)
            if b.fixed and not b.is_magnet
        ]
        top = max([h for h in low if h < max(heights)], default=min(heights))
        rise = {"part": 6.001, "guard": 75.001, "magnet": top * -1 + max(heights), "table": -200.0}
        return 0.0, 0.0, top + rise[kind]

    def move(self, pose: TypedPose, stroke: int | None = None) -> None:
        """Bring the part to a pose, or the nearest that its joints allow; raises InputError.

        Moves of one `stroke` (a drag from grip to letting go) are one step for undo.
        """
        if self._constraints is None:
            self._constraints = Constraints(self.system, self.part)
        if self._constraints.joints:
            pose = typed(kept_on_joints(self._constraints, pose.place))
        document = edits.posed(self.document, self.part_name, pose)
        self.pose = self._poses[self.part_name] = pose
        if document == self.document:
            return
        if stroke is None or stroke != self._stroke:
            self.past.append(self._now())
            del self.past[:-MOST_STEPS]
            self.future.clear()
        self._stroke = stroke
        self.document = document

    def set_down(self) -> None:
        """Lower or raise the part until it just rests on what lies under it; raises InputError."""
        self.move(typed(set_down(self.system, self.part, self.pose.place)))

    def set_gap(self, text: str) -> None:
        """Move the part straight before the nearest magnet to a gap like "30 mm"."""
        try:
            wanted = parse(with_unit(text, "mm"), LENGTH)[0]
        except ValueError as error:
            raise InputError(str(error), key="gap") from None
        if wanted < 0:
            raise InputError("must be 0 mm or more", key="gap")
        self.move(typed(at_gap(self.system, self.part, self.pose.place, wanted)))

    def reset_pose(self) -> None:
        """Bring the part back to where the file has it."""
        name = self.part_name
        opened = [b for b in self._opened().get("body", []) if b.get("name") == name]
        if not opened:
            raise InputError("was not in the file that was opened; use Undo", key="pose")
        keys = ("position", "rotation", "quaternion")
        kept = {k: v for k, v in edits.body_of(self.document, name).items() if k not in keys}
        body = kept | {k: v for k, v in opened[0].items() if k in keys}
        bodies = [body if b.get("name") == name else b for b in self.document["body"]]
        self._poses.pop(name, None)
        if self.document["body"] != bodies:
            self.commit(self.document | {"body": bodies})

    def figures(self) -> dict[str, Any] | None:
        """Return what acts on the part now; None while the model is being made."""
        self._prepare()
        assert self._probe is not None
        if not self._probe.done():
            return None
        with self.lock:
            return self._probe.result().figures(self.pose.place)

    def given(self) -> dict[str, Any]:
        """Return the scene as it now is, for a worker."""
        return {
            "text": rewritten(self.text, located(self.document, self.meshes)),
            "file": self.source.file,
            "changes": [],
            "part": self.part_name,
        }

    def view(self) -> dict[str, Any]:
        """Return what the browser shows of the scene."""
        return {
            "title": self.system.title,
            "note": " ".join(self.system.note.split()),
            "file": self.source.file,
            "starter": self.source.starter,
            "scene": scene_view(self.system),
            "part": self.part,
            "part_name": self.part_name,
            "parts": [b.name for i, b in enumerate(self.system.bodies) if self._may_move(i)],
            "fields": scene_fields(self.document, self.part_name),
            "changed": changes_between(self._opened(), self.document) or [],
            "pose": self.shown_pose(),
            "jointed": any(self.part in joint.bodies for joint in self.system.joints),
            "grips": grips_view(self.document, self.system.bodies),
            "meshes": {
                name: f"files/{Path(path).name}"
                for name, path in self.meshes.items()
                if name in named(self.document)
            },
            "toml": self.toml(),
            "bodies": [{"name": b.name, "fixed": b.fixed} for b in self.system.bodies],
            "brakes": [self.system.bodies[i].name for i in brakes(self.system)],
            "fastened": [
                str(t["name"])
                for kind in ("joint", "hand")
                for t in self.document.get(kind, [])
                if "name" in t
            ],
        }

    def shown_pose(self) -> dict[str, Any]:
        """Return the pose as fields and as SI, and the commands that set it."""
        place = self.pose.place
        told = json.dumps(self.document, sort_keys=True, default=str).encode()
        return {
            "typed_mm": list(self.pose.position),
            "typed_deg": list(self.pose.turns),
            "position": place.position.tolist(),
            "quaternion": place.quaternion.tolist(),
            "changes": self.all_changes(),
            "moved": self.document != self._opened(),
            "revision": hashlib.sha256(told).hexdigest()[:16],
            "undo": len(self.past),
            "redo": len(self.future),
        }

    def _opened(self) -> Document:
        """The document as it was opened, --set applied."""
        return _documents(self.source)[1]

    def _take(self, document: Document, part: str | None) -> None:
        """Build the scene of a document; only if that works does it become this tab's scene."""
        system = self._system(document)
        chosen = self._choice(system, part)
        self.system, self.document, self.part = system, document, chosen
        pose = system.start.pose
        place = typed(Place(pose.position[self.part], pose.quaternion[self.part]))
        kept = self._poses.get(self.part_name)
        same = kept is not None and edits.posed(document, self.part_name, kept) == document
        self.pose = kept if same and kept is not None else place
        self._probe, self._constraints = None, None

    def _system(self, document: Document) -> System:
        whole = located(document, self.meshes)
        return system_of(whole, self.source.file, [], resolve=False)

    def _choice(self, system: System, name: str | None) -> int:
        may = [i for i, b in enumerate(system.bodies) if movable(b)]
        if not may:
            raise InputError(
                "has no free body of iron or magnet that could be moved; keep one",
                file=self.source.file,
            )
        named = [i for i in may if system.bodies[i].name == name]
        return named[0] if named else may[0]

    def _may_move(self, i: int) -> bool:
        return movable(self.system.bodies[i])

    def _prepare(self) -> None:
        """Begin to make the model of the scene, beside the page."""
        if self._probe is None:
            self._probe = self.executor.submit(probe, self.system, self.part, PROBE_DETAIL)


@lru_cache(maxsize=16)
def _documents(source: Source) -> tuple[Document, Document]:
    """What a source reads to, and that with its --set applied; read on every move."""
    written = toml_document(source.text, source.file)
    return written, apply_changes(written, source.changes, source.file)


def movable(body: Body) -> bool:
    """Whether a body is one that the page moves: free, and iron or a magnet."""
    return not body.fixed and (body.is_soft or body.is_magnet)
