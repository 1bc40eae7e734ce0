"""Why a run ended and why a joint parted, in words."""

from __future__ import annotations

from typing import Final

from snapsim.mechanics.ending import Ending, EndReason, Parting

_REASONS: Final[dict[EndReason, str]] = {
    EndReason.AT_REST: "every free body rests in contact",
    EndReason.AT_REST_HELD: "every free body rests",
    EndReason.NOTHING_FREE: "every body is fixed: nothing could move",
    EndReason.TIME_UP: "still moving at the end of the run ({figure:g} s)",
    EndReason.LEFT_SCENE: "a body went more than {figure:.3g} m from the scene",
    EndReason.STEP_LIMIT: "the limit of {figure:.0f} steps was reached",
    EndReason.NOT_FINITE: "the motion could not be computed further (a speed is not finite)",
    EndReason.NO_PROGRESS: "the motion gained no time in {figure:.0f} steps",
    EndReason.OVERLAP: "bodies passed {figure:.2g} m into each other: do not rely on any figure",
    EndReason.UNACCOUNTED: "{figure:.2g} of the energy is unaccounted: do not rely on any figure",
    EndReason.UNSOLVED: "{figure:.0f} steps do not meet their own laws: do not rely on any figure",
    EndReason.JOINT_BLOCKED: "a joint drives two bodies into each other",
    EndReason.INTERRUPTED: "interrupted by the user",
    EndReason.FATE_DECIDED: "its fate is decided",
    EndReason.FIRST_BLOW: "the first blow",
    EndReason.MAGNET_STRUCK: "a magnet was struck, and the run was to end there",
    EndReason.UNTOLD: "the file does not say why",
}

_PARTINGS: Final[dict[Parting, str]] = {
    Parting.FORCE_LIMIT: "its force limit was passed",
    Parting.TORQUE_LIMIT: "its torque limit was passed",
    Parting.TIME_UP: "its time was up",
    Parting.TORN_AWAY: "a blow tore the part away",
    Parting.PRESSED: "the part was pressed against another",
    Parting.UNTOLD: "the file does not say why",
}


def ending_words(ending: Ending) -> str:
    """Return why a run ended; what an older file said stands as it is."""
    return ending.told or _REASONS[ending.reason].format(figure=ending.figure)


def warning(ending: Ending) -> str | None:
    """Return what to set over pictures and tables of a run that is not to be relied on, or None."""
    return f"UNTRUSTED: {ending_words(ending)}" if ending.outcome == "untrusted" else None


def parting_words(why: Parting | None, told: str = "") -> str:
    """Return why a joint parted, "" for one that lasted; an older file's words stand."""
    return told or ("" if why is None else _PARTINGS[why])
