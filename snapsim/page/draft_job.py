"""What happens if it is let go now, as work for a lane: the verdict on top of the page."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np

from snapsim.analysis.figures import number
from snapsim.page.jobs import Report
from snapsim.parts.states import Pose, State
from snapsim.simulation.fate import FateKind
from snapsim.simulation.system import System
from snapsim.study.draft_verdict import DraftVerdict, draft_verdict
from snapsim.words.draft_verdicts import error_words, gap_words, headline, limit_words


def draft_work(given: dict[str, Any], report: Report) -> dict[str, Any]:
    """Release a draft of the scene; "kind" is "snaps", "may_snap", "unknown", "calm" or "none"."""
    from snapsim.scenario.loading import scene_from_text

    report(0.0, "draft release")
    system = scene_from_text(given["text"], given["file"], given["changes"], resolve=False)
    if "state" in given:
        system = _in_hand(system, given["part"], given["state"])
    found = draft_verdict(
        system, lambda t, v: report(min(t / system.duration, 1.0), f"draft release, {t:.2f} s")
    )
    if found is None:
        return {"kind": "none", "says": "Nothing that is free here is pulled by a magnet.",
                "more": ["What moves otherwise, and what it strikes, is for Release to tell."],
                "limits": []}  # fmt: skip
    return _said(found)


def _in_hand(system: System, part: str, state: dict[str, Any]) -> System:
    """The scene in the midst of a motion, a hand just gone from a part."""
    i = system.number(part)
    read = {k: np.array(v, dtype=np.float64) for k, v in state.items()}
    start = State(Pose(read["position"], read["quaternion"]), read["velocity"], read["spin"])
    joints = tuple(j for j in system.joints if not (j.carries and i in j.bodies))
    return replace(system, start=start, joints=joints)


def _said(v: DraftVerdict) -> dict[str, Any]:
    more = [gap_words(v.closing), limit_words(len(v.limits)), error_words(v.error, v.fate)]
    if v.untrusted:
        more.insert(0, "Its books do not balance: trust no figure of it.")
    return {
        "kind": _kind(v),
        "part": v.part,
        "says": headline(v.part, v.fate, v.snaps_if_stronger, v.error, v.held, v.knocked),
        "more": [m for m in more if m],
        "limits": list(v.limits),
        "gaps": [
            {"place": c.place, "notice_s": number(c.notice), "shut_s": number(c.shut)}
            for c in v.closings
        ],
        "speed_m_s": number(v.fate.speed),
        "energy_J": number(v.fate.energy),
        "time_s": number(v.fate.time),
        "pull_low_by": number(v.error),
    }


def _kind(v: DraftVerdict) -> str:
    """Which of the marks the page gives it; only a part that came to rest is calm."""
    if v.fate.kind == FateKind.SNAPS:
        return "snaps"
    if v.snaps_if_stronger or (v.knocked and v.knocked[1].kind == FateKind.SNAPS):
        return "may_snap"
    stays = v.fate.kind in (FateKind.STAYS, FateKind.FALLS_BACK) and v.knocked is None
    calm = stays and not v.untrusted and not v.held
    return "calm" if calm else "unknown"
