"""The whole scene file."""

from __future__ import annotations

from pydantic import Field

from snapsim.constants import STANDARD_GRAVITY
from snapsim.scenario.body import BodyDescription
from snapsim.scenario.contact import ContactDescription
from snapsim.scenario.fields import Gravity, Table
from snapsim.scenario.hand import HandDescription
from snapsim.scenario.joint import JointDescription
from snapsim.scenario.material import MaterialDescription
from snapsim.scenario.run import RunDescription


class SceneDescription(Table):
    """A scene as the author wrote it, in SI numbers."""

    title: str = Field(min_length=1)
    note: str = Field("", description="what the scene teaches, in a sentence")
    gravity: Gravity = (0.0, 0.0, -STANDARD_GRAVITY)
    run: RunDescription = RunDescription()
    contact: ContactDescription = ContactDescription()
    body: tuple[BodyDescription, ...] = Field(min_length=1)
    joint: tuple[JointDescription, ...] = ()
    hand: tuple[HandDescription, ...] = ()
    material: tuple[MaterialDescription, ...] = ()
