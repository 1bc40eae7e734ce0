"""How far several parts together are from snapping: what releases said, as data.

`study.joint_margin` finds it: one part is moved or turned, all are let go.
"""

from __future__ import annotations

from dataclasses import dataclass

from snapsim.landscape.confirmation import LetGo
from snapsim.landscape.thresholds import Threshold, WayKind
from snapsim.simulation.system import System


@dataclass(frozen=True)
class JointWay:
    """A way of the part called `body`; of its `threshold` only what releases say is known: how far
    it was followed, from where on a snap was met, work and place there."""

    body: str
    threshold: Threshold


@dataclass(frozen=True)
class JointMargin:
    """`bodies` are the names of the parts that can snap, `now` is what comes of letting all go as
    they are; `ways` were looked at, the weakest first, those of `left_out` (body, kind, and how
    many of the kind) were not. `interrupted`: broken off by the user."""

    system: System
    bodies: tuple[str, ...]
    now: LetGo
    ways: tuple[JointWay, ...]
    left_out: tuple[tuple[str, WayKind, int], ...]
    stronger: float
    releases: int
    interrupted: bool
