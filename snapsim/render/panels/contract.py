"""What a panel is: a small picture of figures beside the scene."""

from __future__ import annotations

from typing import Protocol

from PIL import ImageDraw

from snapsim.render.interpolation import Moment


class Panel(Protocol):
    """Drawn in a box of the layout that it was made for."""

    def still(self, pen: ImageDraw.ImageDraw) -> None:
        """Draw what stays the same through a clip."""

    def show(self, pen: ImageDraw.ImageDraw, moment: Moment) -> None:
        """Draw what a moment brings."""
