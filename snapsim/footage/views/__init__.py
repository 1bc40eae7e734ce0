"""How a camera sees: world points to picture places."""

from snapsim.footage.views.contract import FootageView
from snapsim.footage.views.pinhole import Pinhole
from snapsim.footage.views.plane import PlaneView

__all__ = ["FootageView", "Pinhole", "PlaneView"]
