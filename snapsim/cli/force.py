"""`snapsim force FILE`: a look before release."""

from __future__ import annotations

import typer

from snapsim.cli.options import Accuracy, AsJson, Changes, SceneFile
from snapsim.cli.output import complain, emit, emit_json


def force(
    file: SceneFile, json: AsJson = False, accuracy: Accuracy = False, changes: Changes = None
) -> None:
    """Force, torque, energy and mean polarisation of each body as placed."""
    import snapsim
    from snapsim.analysis.tables import force_table

    report = snapsim.force(snapsim.load_scene(file, changes or ()), accuracy)
    result = snapsim.force_summary(report)
    if json:
        emit_json(result)
    else:
        emit(force_table(result))
    if not (report.converged and (report.accuracy is None or report.accuracy.converged)):
        complain(f"{file}: the magnetisation did not converge; do not rely on these numbers")
        raise typer.Exit(3)
