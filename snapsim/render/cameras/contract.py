"""What a camera is: a view for every clip time."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

from snapsim.render.camera import CameraView


class Camera(Protocol):
    """`still` says that the view never changes, so that what stands need be drawn only once."""

    @property
    def still(self) -> bool:
        """Does the view never change?"""

    def view_at(self, clip: float) -> CameraView:
        """Return the view at a clip time [s]."""


@dataclass(frozen=True)
class Fixed:
    """A camera that stands still."""

    view: CameraView
    still: bool = True

    def view_at(self, clip: float) -> CameraView:
        """Return the one view."""
        return self.view
