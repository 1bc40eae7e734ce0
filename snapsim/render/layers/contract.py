"""What a layer is: something drawn into the scene besides the bodies, that can be left out."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

from snapsim.arrays import Array
from snapsim.render.camera import CameraView
from snapsim.render.interpolation import Moment


@dataclass(frozen=True)
class Note:
    """Words about a place (3,) [m] of the scene, in a colour; `aside` [m] is how far from the place
    they keep, so as not to cover what they are about."""

    text: str
    place: Array
    colour: str
    aside: float = 0.0


class Layer(Protocol):
    """Set up once, then brought to each moment shown."""

    @property
    def reach(self) -> Array | None:
        """World points (n, 3) [m] that enclose all it may ever draw; None: anywhere."""

    def show(self, moment: Moment, view: CameraView) -> None:
        """Bring what is drawn to a moment, seen from a view."""

    def notes(self, moment: Moment) -> list[Note]:
        """Return the words that go with it at a moment."""
