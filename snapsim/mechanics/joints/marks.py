"""What is to be seen of a joint, as data: where it acts, not how it is made.

`end` is 0 or 1, the end whose body carries the mark; `point` (3,) [m] and `axis` (3,), a unit
vector, are in that body's frame (the world's, where the world is that end). Sizes that depend on
the picture or on the part's size are the drawer's.
"""

from __future__ import annotations

from dataclasses import dataclass

from snapsim.arrays import Array


@dataclass(frozen=True, eq=False)
class Line:
    """A line from end to end, hanging through where the ends are nearer than `length` [m]."""

    length: float


@dataclass(frozen=True, eq=False)
class Pin:
    """A bar along an axis, a little wider than the part, with an arm from the part's centre."""

    end: int
    point: Array
    axis: Array


@dataclass(frozen=True, eq=False)
class Bar:
    """A bar along which the other end runs, as far as its `stops` [m] from `point`, or about as far
    as that end's part may be seen to go."""

    end: int
    point: Array
    axis: Array
    stops: tuple[float, float] | None


@dataclass(frozen=True, eq=False)
class Knob:
    """A ball at a point about which the part turns, with an arm from the part's centre."""

    end: int
    point: Array


@dataclass(frozen=True, eq=False)
class Grip:
    """A handle with a knob that stands out of the part it carries."""

    end: int
    point: Array


@dataclass(frozen=True, eq=False)
class Collar:
    """A small clamp about a point."""

    end: int
    point: Array


Mark = Line | Pin | Bar | Knob | Grip | Collar
