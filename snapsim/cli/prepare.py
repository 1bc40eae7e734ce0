"""`snapsim prepare`: what the first use would compile, beforehand."""

from __future__ import annotations

from snapsim.cli.options import AsJson
from snapsim.cli.output import emit, emit_json
from snapsim.errors import ComputationError


def prepare(json: AsJson = False) -> None:
    """Compile beforehand what the first use of this installation would compile."""
    import snapsim

    done = snapsim.prepare()
    if done.failed:
        said = "; ".join(f"{name}: {line}" for name, line in done.failed.items())
        raise ComputationError(f"could not compile {said}")
    if json:
        return emit_json(
            "prepare",
            {
                "folder": None if done.folder is None else str(done.folder),
                "compiled": list(done.compiled),
                "seconds": done.seconds,
            },
        )
    if done.folder is None:
        return emit("nothing is compiled beforehand, since it could not be kept")
    if not done.compiled:
        return emit(f"ready: everything is compiled, in {done.folder}")
    return emit(
        f"ready: {', '.join(done.compiled)} compiled in {done.seconds:.0f} s, in {done.folder}"
    )
