"""Draft verdicts against releases: `python tests/study/draft_verdict_family.py FIRST LAST`.

A case is a scene of `margin_family`, its part lifted, or where a crossbar or a string is in the way
its magnet lowered, until the draft verdict says that it snaps; from the last height at which it was
calm, and two below, everything is let go by a release of normal detail. None may snap: that is the
hardest place for a verdict that reassures. Prints a line a release that ended otherwise.
"""

from __future__ import annotations

import sys
import time
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from snapsim.landscape.place import Place, with_one_at
from snapsim.run.fate import fate
from snapsim.scenario.loading import scene_from_text
from snapsim.simulation.fate import FateKind
from snapsim.simulation.overlap import OverlapError
from snapsim.simulation.system import System
from snapsim.study.draft_verdict import draft_verdict

sys.path.insert(0, str(Path(__file__).parents[1] / "landscape"))

from margin_family import text_of

HALVINGS = 5

SHARES = (1.0, 0.7)
"""Of the last calm height, from where it is let go."""


@dataclass(frozen=True)
class Judged:
    """Case `seed` of a kind with its part moved by `s` [m]: what the draft said, what was `did`."""

    seed: int
    kind: str
    s: float
    said: str
    did: str

    @property
    def falsely_calm(self) -> bool:
        """It snapped where the verdict had it at rest."""
        return self.said == "calm" and self.did == "snaps"


def said_of(system: System) -> str:
    """What the verdict comes to: "snaps", "may snap", "calm" or "not known"."""
    v = draft_verdict(system)
    assert v is not None
    if v.fate.kind is FateKind.SNAPS:
        return "snaps"
    if v.snaps_if_stronger:
        return "may snap"
    calm = v.fate.kind in (FateKind.STAYS, FateKind.FALLS_BACK) and not v.untrusted
    return "calm" if calm else "not known"


def cases(seed: int) -> Iterator[Judged]:
    """Yield what comes of the releases from the last calm places of a case."""
    text, kind = text_of(seed)
    system = replace(scene_from_text(text, f"case-{seed}.toml", ()), duration=2.0)
    name = "magnet" if kind in ("string", "crossbar") else "part"
    body, way = system.number(name), -1.0 if name == "magnet" else 1.0
    magnet = system.number("magnet")
    low, high = 0.0, _gap(system)
    if said_of(system) != "calm":
        return
    for _ in range(HALVINGS):
        middle = 0.5 * (low + high)
        try:
            calm = said_of(_moved(system, body, way * middle)) == "calm"
        except OverlapError:
            calm = False
        low, high = (middle, high) if calm else (low, middle)
    for s in [share * low for share in SHARES if low > 0]:
        there = _moved(system, body, way * s)
        free = [i for i, b in enumerate(system.bodies) if not b.fixed and i != magnet]
        normal = replace(there, detail="normal")
        did = {fate(normal, i).kind for i in free}
        snaps = did & {FateKind.SNAPS, FateKind.TOUCHES}
        yield Judged(seed, kind, s, said_of(there), "snaps" if snaps else str(sorted(did)[0]))


def _gap(system: System) -> float:
    """Room between the part and the magnet over it [m]."""
    part, magnet = system.number("part"), system.number("magnet")
    z = system.start.pose.position[:, 2]
    halves = [0.5 * float(system.bodies[i].shape.extents[2]) for i in (part, magnet)]
    return float(z[magnet] - z[part]) - sum(halves) - 1e-3


def _moved(system: System, body: int, s: float) -> System:
    pose = system.start.pose
    place = Place(pose.position[body] + np.array([0.0, 0.0, s]), pose.quaternion[body])
    return replace(system, start=replace(system.start, pose=with_one_at(pose, body, place)))


if __name__ == "__main__":
    counts: Counter[str] = Counter()
    for number in range(int(sys.argv[1]), int(sys.argv[2]) + 1):
        began = time.process_time()
        for one in cases(number):
            counts["releases"] += 1
            counts[f"said {one.said}"] += 1
            counts["falsely calm"] += one.falsely_calm
            print(one, flush=True)
        print(f"case {number}: {dict(counts)}, {time.process_time() - began:.1f} s", flush=True)
