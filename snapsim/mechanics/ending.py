"""Why a motion is followed no further, and why a joint parted: facts, no sentences.

The codes are what run files and JSON keep; their words are made in `snapsim.words`, and nothing
reads those back. A new reason is a member here, its outcome, and its words there.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import Final, Literal

Outcome = Literal["settled", "moving", "stopped", "untrusted"]
"""What a run came to; "untrusted": bodies overlap, energy is missing from the books, or steps did
not meet their own laws."""


class EndReason(StrEnum):
    """Why a motion is followed no further; the value is its code in files.

    The last ones but `UNTOLD` are what a release was asked to end at.
    """

    AT_REST = "at_rest"
    """Every free body rests in contact."""
    AT_REST_HELD = "at_rest_held"
    """Every free body rests, in contact or held by its joints."""
    NOTHING_FREE = "nothing_free"
    """No body may move."""
    TIME_UP = "time_up"
    LEFT_SCENE = "left_scene"
    STEP_LIMIT = "step_limit"
    NOT_FINITE = "not_finite"
    NO_PROGRESS = "no_progress"
    """The motion goes on in steps that gain no time."""
    OVERLAP = "overlap"
    """Bodies passed into each other."""
    UNACCOUNTED = "unaccounted"
    """Energy is missing from the books, or came from nowhere."""
    UNSOLVED = "unsolved"
    """Steps or blows were taken that do not meet their own laws (`Unsolved`)."""
    JOINT_BLOCKED = "joint_blocked"
    """A joint drives two bodies into each other."""
    INTERRUPTED = "interrupted"
    FATE_DECIDED = "fate_decided"
    FIRST_BLOW = "first_blow"
    MAGNET_STRUCK = "magnet_struck"
    UNTOLD = "untold"
    """An older file told it in words only."""


OUTCOMES: Final[dict[EndReason, Outcome]] = {
    EndReason.AT_REST: "settled",
    EndReason.AT_REST_HELD: "settled",
    EndReason.NOTHING_FREE: "settled",
    EndReason.TIME_UP: "moving",
    EndReason.LEFT_SCENE: "stopped",
    EndReason.STEP_LIMIT: "stopped",
    EndReason.NOT_FINITE: "stopped",
    EndReason.NO_PROGRESS: "stopped",
    EndReason.OVERLAP: "untrusted",
    EndReason.UNACCOUNTED: "untrusted",
    EndReason.UNSOLVED: "untrusted",
    EndReason.JOINT_BLOCKED: "stopped",
    EndReason.INTERRUPTED: "stopped",
    EndReason.FATE_DECIDED: "stopped",
    EndReason.FIRST_BLOW: "stopped",
    EndReason.MAGNET_STRUCK: "stopped",
}
"""What each reason makes of a run; one that is untold says it itself."""


@dataclass(frozen=True)
class Ending:
    """How a motion ended: its `outcome`, the `reason`, and the `figure` that goes with it.

    `figure` is the time given [s] with `TIME_UP`, the distance passed [m] with `LEFT_SCENE`, the
    number of steps with `STEP_LIMIT`, `NO_PROGRESS` and `UNSOLVED`, the depth [m] with `OVERLAP`,
    the share of the energy turned over with `UNACCOUNTED`, else 0. `told` are the words of an older
    file that has no code; they are only ever shown.
    """

    outcome: Outcome
    reason: EndReason
    figure: float = 0.0
    told: str = ""


def ended(reason: EndReason, figure: float = 0.0) -> Ending:
    """Return the ending for a `reason` that is not `UNTOLD`."""
    return Ending(OUTCOMES[reason], reason, figure)


class Unsolved(StrEnum):
    """What a step or a blow was taken without, when all its turns were used up; the value is its
    code in files."""

    CONTACT = "contact"
    """Contacts that obey their laws."""
    BRAKE = "brake"
    """A brake and a motion that agree."""
    LENGTH = "length"
    """A length that fits what happens in the step."""
    BLOW = "blow"
    """A blow that was followed to its end."""
    JOINT = "joint"
    """Bodies on their joints."""
    BEARING = "bearing"
    """Friction of bearings and reactions that agree."""


class Parting(StrEnum):
    """Why a joint parted; the value is its code in files."""

    FORCE_LIMIT = "force_limit"
    TORQUE_LIMIT = "torque_limit"
    TIME_UP = "time_up"
    TORN_AWAY = "torn_away"
    """A blow tore the part out of a hold."""
    PRESSED = "pressed"
    """The hold pressed its part against another body."""
    UNTOLD = "untold"
    """An older file told it in words only."""
