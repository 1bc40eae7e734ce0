"""One tab's scene: what was changed, where the part is, what acts on it, and its runs."""

from __future__ import annotations

import threading
from collections.abc import Sequence
from concurrent.futures import Executor, Future
from dataclasses import dataclass, field
from typing import Any

from snapsim.errors import InputError
from snapsim.landscape.constraints import Constraints
from snapsim.landscape.place import Place
from snapsim.landscape.spacing import set_down
from snapsim.page.fields import as_typed, scene_fields
from snapsim.page.figures import Probe, probe
from snapsim.page.jobs import PageJob
from snapsim.page.pose import TypedPose, typed, with_unit
from snapsim.page.scene_view import scene_view
from snapsim.page.spacing import at_gap, kept_on_joints
from snapsim.scenario.changes import apply_changes
from snapsim.scenario.loading import scene_from_text
from snapsim.scenario.quantities import LENGTH, parse
from snapsim.scenario.text_file import toml_document
from snapsim.simulation.system import System

PROBE_DETAIL = "draft"
"""Cells for the figures while the part is moved; a release takes the scene's own."""


@dataclass(frozen=True)
class Source:
    """A scene as text; `file` names it and is where its mesh files are; `changes` as --set. The
    `starter` is the scene that `snapsim new` writes, and no file yet."""

    text: str
    file: str
    changes: tuple[str, ...] = ()
    starter: bool = False


@dataclass
class Run:
    """A run of this tab: its file, what the browser needs to play it, how it is called."""

    number: int
    name: str
    path: str
    job: PageJob


@dataclass
class Bench:
    """The state of one tab. Only the server's own thread changes it."""

    source: Source
    executor: Executor
    changes: dict[str, str] = field(default_factory=dict)
    poses: dict[str, TypedPose] = field(default_factory=dict)
    runs: dict[int, Run] = field(default_factory=dict)
    jobs: dict[int, PageJob] = field(default_factory=dict)
    system: System = field(init=False)
    part: int = field(init=False)
    pose: TypedPose = field(init=False)
    lock: threading.Lock = field(default_factory=threading.Lock)
    _probe: Future[Probe] | None = None
    _constraints: Constraints | None = None

    def __post_init__(self) -> None:
        self._take(self.changes, None)

    @property
    def part_name(self) -> str:
        """Name of the part that is moved."""
        return self.system.bodies[self.part].name

    def all_changes(self, changes: dict[str, str] | None = None) -> list[str]:
        """Return every change as --set takes it, poses last."""
        mine = self.changes if changes is None else changes
        posed = [c for name, pose in self.poses.items() for c in pose.changes(name)]
        return [*self.source.changes, *(f"{k}={v}" for k, v in mine.items()), *posed]

    def put(self, key: str, value: str | None) -> None:
        """Change one key of the scene, or take its change back; raises InputError, and then nothing
        has changed."""
        changes = {k: v for k, v in self.changes.items() if k != key}
        if value is not None:
            changes[key] = as_typed(value, self._shown(key))
        self._take(changes, self.part_name)

    def _shown(self, key: str) -> str:
        groups = scene_fields(self._document(self.changes), self.part_name)
        return next((f["value"] for g in groups for f in g["fields"] if f["key"] == key), "")

    def choose(self, name: str) -> None:
        """Make another free body the part that is moved; raises InputError."""
        self._take(self.changes, name)

    def move(self, pose: TypedPose) -> None:
        """Bring the part to a pose, or the nearest that its joints allow; raises InputError."""
        if self._constraints is None:
            self._constraints = Constraints(self.system, self.part)
        if self._constraints.joints:
            pose = typed(kept_on_joints(self._constraints, pose.place))
        self.pose = self.poses[self.part_name] = pose

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
        """Bring the part back to where the scene has it."""
        self.poses.pop(self.part_name, None)
        self._take(self.changes, self.part_name)

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
            "text": self.source.text,
            "file": self.source.file,
            "changes": self.all_changes(),
            "part": self.part_name,
        }

    def view(self) -> dict[str, Any]:
        """Return what the browser shows of the scene."""
        document = self._document(self.changes)
        return {
            "title": self.system.title,
            "note": " ".join(self.system.note.split()),
            "file": self.source.file,
            "starter": self.source.starter,
            "scene": scene_view(self.system),
            "part": self.part,
            "part_name": self.part_name,
            "parts": [b.name for i, b in enumerate(self.system.bodies) if self._may_move(i)],
            "fields": scene_fields(document, self.part_name),
            "changed": list(self.changes),
            "pose": self.shown_pose(),
            "jointed": any(self.part in joint.bodies for joint in self.system.joints),
        }

    def shown_pose(self) -> dict[str, Any]:
        """Return the pose as fields and as SI, and the commands that set it."""
        place = self.pose.place
        return {
            "typed_mm": list(self.pose.position),
            "typed_deg": list(self.pose.turns),
            "position": place.position.tolist(),
            "quaternion": place.quaternion.tolist(),
            "changes": self.all_changes(),
            "moved": bool(self.changes or self.poses),
        }

    def _take(self, changes: dict[str, str], part: str | None) -> None:
        """Build the scene with `changes`; only if that works does it become this tab's scene."""
        text, file = self.source.text, self.source.file
        system = scene_from_text(text, file, self.all_changes(changes))
        self.changes, self.system = changes, system
        self.part = self._choice(part)
        pose = system.start.pose
        place = typed(Place(pose.position[self.part], pose.quaternion[self.part]))
        self.pose = self.poses.get(self.part_name, place)
        self._probe, self._constraints = None, None

    def _choice(self, name: str | None) -> int:
        may = [i for i in range(len(self.system.bodies)) if self._may_move(i)]
        if not may:
            raise InputError(
                "has no free body of iron or magnet that could be moved", file=self.source.file
            )
        named = [i for i in may if self.system.bodies[i].name == name]
        return named[0] if named else may[0]

    def _may_move(self, i: int) -> bool:
        body = self.system.bodies[i]
        return not body.fixed and (body.is_soft or body.is_magnet)

    def _prepare(self) -> None:
        """Begin to make the model of the scene, beside the page."""
        if self._probe is None:
            self._probe = self.executor.submit(probe, self.system, self.part, PROBE_DETAIL)

    def _document(self, changes: dict[str, str]) -> dict[str, Any]:
        made: Sequence[str] = [*self.source.changes, *(f"{k}={v}" for k, v in changes.items())]
        return apply_changes(
            toml_document(self.source.text, self.source.file), made, self.source.file
        )
