"""`snapsim margin FILE [--body NAME]`: how far a part is from snapping."""

from __future__ import annotations

from snapsim.cli.options import AsJson, Changes, MovingBody, SceneFile
from snapsim.cli.output import emit, emit_json


def margin(
    file: SceneFile, body: MovingBody = None, json: AsJson = False, changes: Changes = None
) -> None:
    """The point of no return: angle, distance, energy and hand force before a part snaps."""
    import snapsim
    from snapsim.analysis.margins import margin_summary, margin_table
    from snapsim.cli.progress import stage_progress

    scene = snapsim.load_scene(file, changes or ())
    with stage_progress() as progress:
        report = snapsim.margin(scene, body, progress)
    result = margin_summary(report)
    return emit_json(result) if json else emit(margin_table(result))
