"""Everything that is constant in a run: bodies, surfaces, gravity and the run's limits."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Literal

from snapsim.arrays import Array
from snapsim.errors import InputError, suggest
from snapsim.mechanics.joints import Joint
from snapsim.numerics.sameness import same
from snapsim.parts.bodies import Body
from snapsim.parts.states import State
from snapsim.parts.surfaces import SurfaceRules
from snapsim.simulation.html_table import html_table

Detail = Literal["draft", "normal", "fine"]

_READ_FROM = ("source", "resolved", "file", "extra")


@dataclass(frozen=True)
class Hand:
    """Where a finger or a hand could be: the place that `span` (3,) [m], half sizes of a box,
    takes round `point` (3,) [m] in the frame of `body`, or of the world. `gap` [m] is what
    matters there: 25 mm for a finger, 100 mm for a hand."""

    name: str
    body: str | None
    point: Array
    span: Array
    gap: float


@dataclass(frozen=True, eq=False)
class System:
    """A scene made ready: `start` is the state at release, `gravity` (3,) [m/s^2].

    `source` is the scene as read and `resolved` the scene with every default and --set filled in,
    both TOML, kept in the run file; `file` names where it came from. With `recoil` magnets
    yield by their recoil permeability (`magnetics.model`). With `eddy_currents` conductors that
    are neither iron nor magnets brake magnets that move by them (`eddy_brake`). `tolerance` is
    the share of lengths and speeds that a step of the motion may err by, where the scene asks
    for one. Two are equal where all that is computed with is, from wherever they were read.
    """

    title: str
    note: str
    bodies: tuple[Body, ...]
    start: State
    surfaces: SurfaceRules
    gravity: Array
    duration: float
    detail: Detail = "normal"
    source: str = ""
    resolved: str = ""
    file: str = ""
    recoil: bool = False
    eddy_currents: bool = True
    tolerance: float | None = None
    joints: tuple[Joint, ...] = ()
    hands: tuple[Hand, ...] = ()
    extra: dict[str, str] = field(default_factory=dict)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, System) and same(self, other, _READ_FROM)

    def __hash__(self) -> int:
        pose = self.start.pose
        names = tuple(b.name for b in self.bodies)
        return hash((self.title, names, pose.position.tobytes(), self.duration, self.detail))

    def _repr_html_(self) -> str:
        """A short table for a notebook."""
        rows = [
            (b.name, f"{b.material.name}, {b.mass:.3g} kg, {'fixed' if b.fixed else 'free'}")
            for b in self.bodies
        ]
        return html_table(self.title, rows)

    def number(self, name: str, key: str = "body") -> int:
        """Return the index of the body called `name`; raises InputError, its `key` as given."""
        return find_body(name, [b.name for b in self.bodies], self.file, key)

    def has_cells(self, body: Body) -> bool:
        """Does a field change this body's magnetisation, so that it is cut into cells?"""
        return body.is_soft or (self.recoil and body.is_magnet and body.recoil_susceptibility > 0)


def find_body(name: str, bodies: Sequence[str], file: str, key: str) -> int:
    """Return where `name` stands among the names of all `bodies`; raises InputError."""
    if name not in bodies:
        problem = f'"{name}" is no body of the scene{suggest(name, bodies)}'
        raise InputError(problem, file=file or None, key=key)
    return bodies.index(name)
