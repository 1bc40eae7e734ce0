"""Which numbers of a study's runs are chances, not ends: some runs made twice, begun otherwise.

A study with `twins = N` makes the first N runs of each setup once more, begun a millionth otherwise
(`run.twins.perturbed`), on the loads that the run has solved. A flag repeats where both have the
same, a measure where both have it to `WITHIN`. One twin a run may agree by luck on what rattles:
what repeats in all of a few runs is not proved; what does not in one of them is a chance.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from snapsim.simulation.reproducibility import WITHIN

RowOutcome = Mapping[str, Any]


def repeats(results: Iterable[RowOutcome]) -> dict[str, Any] | None:
    """Return in how many of the runs made twice each flag and measure is the same; None where no
    run was, or none of the twins came to an end.

    "runs"; "parted", those whose two motions visibly parted; "flags" and "measures": {name:
    {"same", "of"}}, `of` the runs in which either has it; "chances": the names of those that are
    not the same in all.
    """
    made = [(r, r["twin"]) for r in results if r.get("twin")]
    if not made:
        return None
    flags = _counted(made, "flags", lambda a, b: a == b)
    measures = _counted(made, "measures", alike)
    every = {**flags, **measures}
    return {
        "runs": len(made),
        "parted": sum(twin["parted_s"] is not None for _, twin in made),
        "flags": flags,
        "measures": measures,
        "chances": [name for name, n in every.items() if n["same"] < n["of"]],
    }


def alike(one: float | None, other: float | None) -> bool:
    """Return whether two figures of a run and its twin are the same; None: it has none."""
    if one is None or other is None:
        return one is other
    return abs(one - other) <= WITHIN * max(abs(one), abs(other))


def _counted(
    made: list[tuple[RowOutcome, RowOutcome]], kind: str, same: Any
) -> dict[str, dict[str, int]]:
    found = {}
    for name in dict.fromkeys(name for run, _ in made for name in run[kind]):
        pairs = [(run[kind].get(name), twin[kind].get(name)) for run, twin in made]
        known = [(a, b) for a, b in pairs if a is not None or b is not None]
        if known:
            found[name] = {"same": sum(bool(same(a, b)) for a, b in known), "of": len(known)}
    return found


def repeat_words(found: Mapping[str, Any] | None) -> str:
    """Return what single rows bear, in a sentence."""
    if found is None:
        return (
            "not checked: no run was made twice (twins = 8 in the study), so which numbers of a"
            " single run are one of several courses is not known; chances over all runs are chances"
        )
    runs = (
        f"{found['runs']} run{'s' if found['runs'] > 1 else ''} made twice, begun 1e-06 otherwise"
    )
    chances = [f"{name} (the same in {_share(found, name)})" for name in found["chances"]]
    if not chances:
        return f"{runs}: all that is counted repeats to {WITHIN:.0%}"
    return f"{runs}: a single run's figure is one of several, a chance, for {', '.join(chances)}"


def _share(found: Mapping[str, Any], name: str) -> str:
    n = found["flags"].get(name) or found["measures"][name]
    return f"{n['same']} of {n['of']}"
