"""Footage laid over a motion, or fitted, with the result as JSON data: command line and Python."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from snapsim.errors import ComputationError
from snapsim.footage.fit.fitting import FitResult, fit_footage, laid
from snapsim.footage.fit.summary import fit_summary
from snapsim.footage.fit.telling_apart import ambiguities
from snapsim.footage.match_file import MatchFile
from snapsim.footage.matching import Filmed, lay_over
from snapsim.footage.overlay import TrackOverlay
from snapsim.footage.summary import overlay_summary
from snapsim.footage.verdict import verdict
from snapsim.simulation.trajectory import Trajectory
from snapsim.words.endings import ending_words
from snapsim.work.progress import Progress


def lay_footage(
    filmed: Filmed, match: MatchFile, run: Trajectory
) -> tuple[TrackOverlay, dict[str, Any]]:
    """Lay the tracks over a run as it is."""
    found = lay_over(filmed, match, run)
    judged = verdict(found, 0, filmed.unit)
    return found, overlay_summary(found, judged, run.system.title, filmed.unit)


def fit_and_lay(
    file: str,
    filmed: Filmed,
    match: MatchFile,
    match_path: str,
    changes: Sequence[str],
    workers: int,
    progress: Progress | None,
) -> tuple[FitResult, TrackOverlay, dict[str, Any]]:
    """Fit, and lay the tracks over the motion with the fitted values; result's "fit" has these.

    Raises InputError or ComputationError in one line.
    """
    fitted = fit_footage(file, filmed, match, match_path, changes, workers, progress)
    found = laid(fitted, filmed, match)
    judged = verdict(found, len(fitted.unknowns), filmed.unit, fitted.fitted.delay)
    result = overlay_summary(found, judged, fitted.predictor.cases.scene.title, filmed.unit)
    asked = (fitted.predictor, fitted.unknowns, fitted.fitted, fitted.intervals)
    return fitted, found, result | {"fit": fit_summary(fitted, ambiguities(*asked))}


def require_trusted(run: Trajectory, file: str) -> None:
    """Raise ComputationError where a run was stopped or is not to be trusted; it names `file`."""
    if run.outcome == "untrusted":
        raise ComputationError(f"{file}: untrusted: {ending_words(run.ending)}")
    if run.outcome == "stopped":
        why = ending_words(run.ending)
        raise ComputationError(f"{file}: stopped at {run.time[-1]:.6g} s: {why}")
