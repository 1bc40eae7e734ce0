"""What happens if it is let go now, as work for a lane: the verdict on top of the page."""

from __future__ import annotations

from typing import Any

from snapsim.analysis.summary import number
from snapsim.page.jobs import Report
from snapsim.simulation.fate import FateKind
from snapsim.study.draft_verdict import DraftVerdict, draft_verdict
from snapsim.words.draft_verdicts import error_words, gap_words, headline, limit_words


def draft_work(given: dict[str, Any], report: Report) -> dict[str, Any]:
    """Release a draft of the scene; "kind" is "snaps", "may_snap", "unknown", "calm" or "none"."""
    from snapsim.scenario.loading import scene_from_text

    report(0.0, "draft release")
    system = scene_from_text(given["text"], given["file"], given["changes"], resolve=False)
    found = draft_verdict(
        system, lambda t, v: report(min(t / system.duration, 1.0), f"draft release, {t:.2f} s")
    )
    if found is None:
        return {"kind": "none", "says": "Nothing that is free here is pulled by a magnet.",
                "more": [], "limits": []}  # fmt: skip
    return _said(found)


def _said(v: DraftVerdict) -> dict[str, Any]:
    more = [gap_words(v.closing), limit_words(len(v.limits)), error_words(v.error, v.fate)]
    if v.untrusted:
        more.insert(0, "Its books do not balance: trust no figure of it.")
    return {
        "kind": _kind(v),
        "part": v.part,
        "says": headline(v.part, v.fate, v.snaps_if_stronger, v.error, v.held),
        "more": [m for m in more if m],
        "limits": list(v.limits),
        "speed_m_s": number(v.fate.speed),
        "energy_J": number(v.fate.energy),
        "time_s": number(v.fate.time),
        "pull_low_by": number(v.error),
    }


def _kind(v: DraftVerdict) -> str:
    """Which of the marks the page gives it; only a part that came to rest is calm."""
    if v.fate.kind == FateKind.SNAPS:
        return "snaps"
    if v.snaps_if_stronger:
        return "may_snap"
    stays = v.fate.kind in (FateKind.STAYS, FateKind.FALLS_BACK)
    calm = stays and not v.untrusted and not v.held
    return "calm" if calm else "unknown"
