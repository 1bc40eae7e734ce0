"""What a presenter asks of one release: what it strikes, how it ends, what is pinched, what limits.

Data first, the sentences beside them. A limit is held only against the kind of blow that it was
made for (`Limit.applies`); one that is not passed shows no safety and is not listed as good news.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from snapsim.analysis.figures import number
from snapsim.analysis.repeats import counted
from snapsim.mechanics.contact import ContactGeometry
from snapsim.run.twins import lying
from snapsim.simulation.closing_gaps import Closing, closings
from snapsim.simulation.reproducibility import Lying
from snapsim.simulation.trajectory import Trajectory
from snapsim.study.hazard_limits import Limit, Standard, described, standards
from snapsim.study.limit_verdict import LimitVerdict, verdict
from snapsim.study.outcome import low_by, measures_of, measures_of_twins
from snapsim.words.answers import (
    OTHERWISE,
    REACTION,
    end_sentences,
    gap_sentence,
    limit_sentences,
    short,
    strike_sentences,
)
from snapsim.words.endings import warning


def presenter_answer(run: Trajectory, house_limits: Iterable[str] = ()) -> dict[str, Any]:
    """Return the entry "answer" of a release's JSON: "says" (sentences), "ends", "gaps", "limits".

    Of a run that was stopped or is not to be trusted only what it shows counts, never what it does
    not show.
    """
    ends, gaps, limits = _ends(run), closings(run), _limits(run, house_limits)
    shown = [x for x in limits if x["verdict"] == LimitVerdict.EXCEEDED]
    alarm = warning(run.ending)
    says = [
        *([f"{alarm}."] if alarm else []),
        *strike_sentences(run),
        *end_sentences(run, ends),
        *map(gap_sentence, gaps),
        *limit_sentences(
            [x["words"] for x in shown if not x["equipment"]],
            [x["words"] for x in shown if x["equipment"]],
        ),
    ]
    return {
        "says": says,
        "reaction_time_s": REACTION,
        "gaps": [_gap(c) for c in gaps],
        "limits": limits,
    }


def passed_limits(run: Trajectory) -> list[str]:
    """Return the published limits that a run shows to be passed, in words."""
    return [x["words"] for x in _limits(run, ()) if x["verdict"] == LimitVerdict.EXCEEDED]


def _ends(run: Trajectory) -> dict[str, list[tuple[Lying, int]]]:
    """How each free part ended, in the run and its twins."""
    if run.twins is not None and run.twins.lying:
        return {name: counted(each) for name, each in run.twins.lying.items()}
    geometry = ContactGeometry(run.system.bodies, run.system.surfaces)
    return {name: [(end, 1)] for name, end in lying(run, geometry).items()}


def _gap(closing: Closing) -> dict[str, Any]:
    return {
        "place": closing.place or None,
        "between": [name for name in closing.bodies if name],
        "start_m": number(closing.start),
        "least_m": number(closing.least),
        "end_m": number(closing.end),
        "closed": [
            {"size_m": size, "time_s": number(time)}
            for size, time in zip(closing.sizes, closing.closed, strict=True)
        ],
        "shut_s": number(closing.shut),
        "closing_speed_m_s": number(closing.speed),
        "notice_s": number(closing.notice),
        "pull_while_closing_N": number(closing.pull),
        "pull_at_end_N": number(closing.hold),
        "words": gap_sentence(closing),
    }


def _limits(run: Trajectory, house_limits: Iterable[str]) -> list[dict[str, Any]]:
    found, measures, twins = standards(house_limits), measures_of(run), measures_of_twins(run)
    sound, low = run.outcome not in ("stopped", "untrusted"), low_by(run)
    return [
        _limit(s, x, measures.get(x.measure), twins.get(x.measure), low.get(x.measure, 0.0), sound)
        for s in found
        for x in s.limit
    ]


def _limit(
    standard: Standard,
    limit: Limit,
    own: float | None,
    twins: float | None,
    low: float,
    sound: bool,
) -> dict[str, Any]:
    """A limit against the run's own value, or where that does not pass it the worst of its twins'
    blows; the cells may leave either too low by the share `low`, as `rank`."""
    value = own if twins is None else max(own or 0.0, twins)
    if own is not None and limit.exceeded(own * (1 + low)):
        value = own
    worst = None if value is None else value * (1 + low)
    beyond = worst is not None and limit.exceeded(worst)
    judged = verdict(int(beyond), int(value is not None and (sound or beyond)))
    return {
        **described(standard, limit),
        "value": value,
        "low_by": low,
        "verdict": judged,
        "words": _words(
            standard, limit, value, worst, f" in a run{OTHERWISE}" if value != own else ""
        ),
    }


def _words(
    standard: Standard, limit: Limit, value: float | None, worst: float | None, whose: str
) -> str:
    """The figure, with what the cells leave out where that decides, and what it is held against."""
    unit = "" if limit.unit == "1" else f" {limit.unit}"
    if value is None or worst is None:
        return (
            f"{limit.name} ({standard.standard}): does not apply ({limit.applies or 'no figure'})"
        )
    sign = (
        ("below" if limit.exceeded(worst) else "not below")
        if limit.least is not None
        else ("above" if limit.exceeded(worst) else "not above")
    )
    known = limit.known.split(";")[0]
    decides = limit.exceeded(worst) != limit.exceeded(value)
    cells = f" (up to {short(worst)}{unit}, as its cells may leave it low)" if decides else ""
    return (
        f"{limit.name} {short(value)}{unit}{whose}{cells}, {sign} {limit.bound:,g}{unit}"
        f" ({standard.standard}; {known})"
    )
