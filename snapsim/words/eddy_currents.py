"""What eddy currents would have done where a run was computed without them, in words."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

LIMIT: Final = 0.05
"""Share of the released energy above which a run is marked."""


WORTH: Final = 2e-3
"""Share of the released energy below which an estimate is not worth a line."""


def eddy_band(accuracy: Mapping[str, float | str]) -> str:
    """Return by how much the first blow may be weaker for eddy currents where they are only
    estimated (iron, magnets); "" where next to nothing, and where more than `LIMIT`: that is a
    warning.

    Against axisymmetric finite elements of a ring of cast iron that flies flat to a pole (3.5 %
    estimated) the energy was 3.6 to 5.1 % less, the speed half of that, and the pull at the moment
    of contact 6 to 9 %: so 0.8 to 1.6 times the estimate, and 1.6 to 2.6 times for the pull.
    """
    share = 100 * float(accuracy.get("eddy_loss_fraction", 0.0))
    if not WORTH < share / 100 <= LIMIT:
        return ""
    return (
        f"eddy currents in {accuracy['eddy_body']}, estimated only: the first blow may have"
        f" {_times(share, 0.8, 1.6)} % less energy, {_times(share, 0.4, 0.8)} % less speed, and the"
        f" pull at that moment be {_times(share, 1.6, 2.6)} % less; the figures here err to too"
        " hard a blow"
    )


def _times(share: float, low: float, high: float) -> str:
    return f"{low * share:.1f} to {high * share:.1f}"


def with_eddy_words(accuracy: Mapping[str, float | str]) -> dict[str, float | str]:
    """Return a run's accuracy with the sentence "warning" where they matter, "eddy_band" where they
    matter little; an older file has the first already."""
    share = float(accuracy.get("eddy_loss_fraction", 0.0))
    band = eddy_band(accuracy)
    if not share > LIMIT:
        return {**accuracy, "eddy_band": band} if band else dict(accuracy)
    part = f"{100 * share:.0f} %" if share < 1 else "all"
    said = (
        f"eddy currents in {accuracy['eddy_body']}, which are not modelled there, may take {part}"
        " of the energy released before the first blow: the real part arrives later and slower, and"
        " is pulled less; the figures here err to too hard a blow"
    )
    return {**accuracy, "warning": said}
