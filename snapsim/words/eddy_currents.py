"""What eddy currents would have done where a run was computed without them, in words."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

LIMIT: Final = 0.05
"""Share of the released energy above which a run is marked."""


def with_eddy_words(accuracy: Mapping[str, float | str]) -> dict[str, float | str]:
    """Return a run's accuracy with the sentence "warning" where they matter; an older file has it
    already."""
    share = float(accuracy.get("eddy_loss_fraction", 0.0))
    if not share > LIMIT:
        return dict(accuracy)
    part = f"{100 * share:.0f} %" if share < 1 else "all"
    said = (
        f"eddy currents in {accuracy['eddy_body']}, which are not modelled there, may take {part}"
        " of the energy released before the first blow: the real part arrives later and slower"
    )
    return {**accuracy, "warning": said}
