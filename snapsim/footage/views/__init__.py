"""How a camera sees: world points to picture places."""

from snapsim.footage.views.contract import View
from snapsim.footage.views.pinhole import Pinhole
from snapsim.footage.views.plane import Plane

__all__ = ["Pinhole", "Plane", "View"]
