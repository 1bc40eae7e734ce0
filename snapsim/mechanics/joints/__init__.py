"""Joints between two bodies, or a body and the world: one contract, one file a kind."""

from snapsim.mechanics.joints.ball import Ball
from snapsim.mechanics.joints.contract import STILL, WORLD, Joint, Rows, Side
from snapsim.mechanics.joints.hinge import Hinge, hinge
from snapsim.mechanics.joints.hold import Hold, hold
from snapsim.mechanics.joints.slide import Slide, slide
from snapsim.mechanics.joints.string import String

JOINTS: dict[str, type[Joint]] = {j.kind: j for j in (String, Hinge, Slide, Ball, Hold)}
"""Every kind of joint by name."""

__all__ = [
    "JOINTS",
    "STILL",
    "WORLD",
    "Ball",
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
