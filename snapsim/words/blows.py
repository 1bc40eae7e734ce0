"""What a blow is called: a slide that jams is no collision, and its closing speed is not one."""

from __future__ import annotations

from snapsim.simulation.trajectory import Impact


def meets(blow: Impact) -> str:
    """Return what the body does to what it meets."""
    return "jams on" if blow.jammed else "strikes"


def as_fast(blow: Impact) -> str:
    """Return what goes before the closing speed, which for a jam is that of a blow as hard."""
    return "as hard as at" if blow.jammed else "at"
