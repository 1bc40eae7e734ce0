"""What two meshes say of a release, in words."""

from __future__ import annotations

from collections.abc import Mapping

from snapsim.mechanics.ending import EndReason, ended
from snapsim.simulation.trajectory import Meshes
from snapsim.words.endings import ending_words


def with_mesh_words(accuracy: Mapping[str, float | str]) -> dict[str, float | str]:
    """Return a run's accuracy with the sentence "meshes" where it has been run on two of them.

    An older file has the sentence and no code; it stands as it is.
    """
    return {**accuracy, **({"meshes": _words(accuracy)} if "meshes_code" in accuracy else {})}


def _words(accuracy: Mapping[str, float | str]) -> str:
    cells = [f"{accuracy[key]:.0f} cells" for key in ("cells", "coarse_cells")]
    match Meshes(str(accuracy["meshes_code"])):
        case Meshes.ALIKE:
            return "the same on both meshes"
        case Meshes.UNRESOLVED_GAP:
            return (
                "the same on both meshes, but before the first blow soft parts came closer to each "
                "other than either resolves: no error bars"
            )
        case Meshes.NOT_COMPARED:
            why = _why_coarse_stopped(accuracy)
            return f"not compared: the run on {cells[1]} stopped: {why}"
        case Meshes.SNAPS_DIFFER:
            who = [_snaps(accuracy[key]) for key in ("fine_snapping", "coarse_snapping")]
            said = f"on {cells[0]} {who[0]}, on {cells[1]} {who[1]}"
        case Meshes.FIRST_BLOW_DIFFERS:
            who = [_blow(accuracy[key]) for key in ("fine_first_blow", "coarse_first_blow")]
            said = f"the first blow is {who[0]} on {cells[0]}, {who[1]} on {cells[1]}"
    return f"outcome depends on the mesh: {said}"


def _why_coarse_stopped(accuracy: Mapping[str, float | str]) -> str:
    reason = EndReason(str(accuracy["coarse_reason_code"]))
    return ending_words(ended(reason, float(accuracy["coarse_reason_figure"])))


def _snaps(names: float | str) -> str:
    return f"{names} snaps" if names else "nothing snaps"


def _blow(names: float | str) -> str:
    return str(names) or "none"
