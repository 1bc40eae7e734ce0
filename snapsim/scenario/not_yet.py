"""Parts of the scene format that are read and checked, but cannot be computed by this version.

To make one of them work, build it in `build` and take it out here; nothing else refuses it.
"""

from __future__ import annotations

from snapsim.errors import InputError
from snapsim.scenario.explain import label
from snapsim.scenario.scene import SceneDescription


def refuse_what_cannot_be_computed(scene: SceneDescription, file: str) -> None:
    """Raise InputError for the first entry that this version reads but cannot compute."""
    for hand in scene.hand:
        raise InputError(
            "hands cannot be computed by this version; leave [[hand]] out",
            file=file,
            key=f"hand.{label(hand.name)}",
        )
