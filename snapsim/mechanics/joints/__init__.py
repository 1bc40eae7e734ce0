"""Joints between two bodies, or a body and the world: one contract, one file a kind."""

from snapsim.mechanics.joints.contract import STILL, WORLD, Joint, Rows, Side
from snapsim.mechanics.joints.hinge import Hinge, hinge
from snapsim.mechanics.joints.hold import Hold, hold
from snapsim.mechanics.joints.slide import Slide, slide
from snapsim.mechanics.joints.string import String

__all__ = [
    "STILL",
    "WORLD",
    "Hinge",
    "Hold",
    "Joint",
    "Rows",
    "Side",
    "Slide",
    "String",
    "hinge",
    "hold",
    "slide",
]
