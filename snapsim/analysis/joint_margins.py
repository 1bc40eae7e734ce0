"""How far several parts together are from snapping: JSON and table of `margin --together`."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from rich.console import Group, RenderableType
from rich.markup import escape
from rich.table import Table
from rich.text import Text

from snapsim.analysis.cautions import CAUTIONS
from snapsim.analysis.figures import number, plain
from snapsim.analysis.margins import let_go_summary, way_summary
from snapsim.analysis.tables import cautions
from snapsim.words.joint_margins import joint_answer, joint_way_sentence, left_out_words

if TYPE_CHECKING:  # importing it loads the compiled magnetics
    from snapsim.landscape.joint_margin import JointMargin, JointWay

JOINT_LIMITS = (
    "One part at a time is moved or turned and let go at rest with all others, hands gone, from a"
    " few places of each way: what swings and tumbles may snap from a band between them.",
    "Releases are made on draft cells with long steps and the pull at the top of its cells' bar;"
    " material, friction and the way a hand lets go vary: a margin is no safe distance.",
    "What does not come to rest, or comes nearer from swing to swing, is not counted as safe.",
)


def joint_margin_summary(found: JointMargin) -> dict[str, Any]:
    """Return what `snapsim margin --together --json` prints; ways as in `margin`."""
    return {
        "title": found.system.title,
        "answer": joint_answer(found),
        "bodies": list(found.bodies),
        "present": let_go_summary(found.now, ("m", 1.0)),
        "ways": [_way(way, found) for way in found.ways],
        "not_looked_at": [
            {"body": body, "kind": kind, "count": count} for body, kind, count in found.left_out
        ],
        "search": {
            "releases": found.releases,
            "interrupted": found.interrupted,
            "pull_raised_by": number(found.stronger),
        },
        "not_looked_at_words": left_out_words(found),
        "limits": list(JOINT_LIMITS),
        "cautions": list(CAUTIONS),
    }


def _way(way: JointWay, found: JointMargin) -> dict[str, Any]:
    names = [b.name for b in found.system.bodies]
    sentence = joint_way_sentence(way, names)
    return {"body": way.body, **way_summary(way.threshold, names), "sentence": sentence}


def joint_margin_table(result: dict[str, Any]) -> RenderableType:
    """Return the table of `margin --together` from its `joint_margin_summary`."""
    table = Table("part", "way", title_justify="left")
    for heading in ("may snap\nfrom", "hand's work\nJ", "looked\nup to"):
        table.add_column(heading, justify="right")
    for way in result["ways"]:
        unit, scale, shown = ("deg", 1.0, "deg") if way["kind"] == "tilt" else ("m", 1e3, "mm")
        edge = way[f"may_snap_from_{unit}"]
        table.add_row(
            escape(way["body"]),
            escape(way["way"]),
            "not found" if edge is None else f"{plain(round(scale * edge, 2))} {shown}",
            plain(way["hand_work_J"]),
            f"{plain(round(scale * way[f'searched_{unit}'], 1))} {shown}",
        )
    bad = not result["present"]["safe"] or result["search"]["interrupted"]
    lines = [way["sentence"] for way in result["ways"]] + result["not_looked_at_words"]
    return Group(
        Text(result["answer"], style="bold red" if bad else "bold"),
        Text(f"{result['title']}: {' and '.join(result['bodies'])} together"),
        *([table] if result["ways"] else []),
        *(Text(f"- {line}") for line in lines),
        Text("\n".join(result["limits"])),
        cautions(),
    )
