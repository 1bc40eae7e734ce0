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

    title: str = Field(min_length=1, description="what happens, in a line")
    note: str = Field("", description="what the scene teaches, in a sentence")
    gravity: Gravity = Field((0.0, 0.0, -STANDARD_GRAVITY), description="x, y, z; z points up")
    run: RunDescription = Field(RunDescription(), description="how long and how finely")
    contact: ContactDescription = Field(
        ContactDescription(), description="what happens where bodies touch"
    )
    body: tuple[BodyDescription, ...] = Field(
        min_length=1, description="the bodies, one [[body]] each"
    )
    joint: tuple[JointDescription, ...] = Field((), description="hinges, slides, strings, hands")
    hand: tuple[HandDescription, ...] = Field((), description="places where a hand could be")
    material: tuple[MaterialDescription, ...] = Field((), description="materials of one's own")
