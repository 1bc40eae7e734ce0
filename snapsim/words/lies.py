"""How a part rests, in words: "flat under magnet, near its rim, 66 mm off centre"."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from snapsim.landscape.lie import MIDDLE, RIM, Attitude, Lie, Side

if TYPE_CHECKING:
    from snapsim.landscape.rests import Rests

_ATTITUDES: Final[dict[Attitude, str]] = {
    Attitude.FLAT: "flat",
    Attitude.ON_EDGE: "on edge",
    Attitude.ON_END: "on end",
    Attitude.ON_SIDE: "on its side",
    Attitude.LEANING: "leaning",
    Attitude.COMPACT: "",
}


MOST: Final = 4
"""Rests named in the first line."""

STAYING: Final = frozenset({"stable", "held by friction"})
"""Verdicts of rests that a part does not leave by itself."""


def lie_words(lie: Lie) -> str:
    """Return how a part rests, without its name."""
    if lie.magnet and lie.others and not lie.facing:
        said = f"wedged between {_listed((*lie.others, lie.magnet))}{_axis(lie)}"
    elif lie.magnet:
        said = f"{_attitude(lie)} {lie.side.value} {lie.magnet}, {_spot(lie)}"
    elif lie.facing:
        said = _attitude(lie)
    elif lie.others:
        where = "on" if lie.side is Side.ON_TOP else lie.side.value
        said = f"{_attitude(lie)} {where} {_listed(lie.others)}"
    elif lie.joints:
        said = f"hanging on {_listed(lie.joints)}{_axis(lie)}"
    else:
        said = f"free in the air{_axis(lie)}"
    if lie.facing:
        said += f", face to face with {_listed(lie.facing)}"
    if lie.joints and (lie.magnet or lie.others):
        said += f", held by {_listed(lie.joints)}"
    return said.strip()


def _attitude(lie: Lie) -> str:
    if lie.attitude is Attitude.LEANING:
        return f"leaning, axis {np.degrees(lie.axis):.0f} deg from the vertical,"
    return _ATTITUDES[lie.attitude]


def _axis(lie: Lie) -> str:
    if lie.attitude is Attitude.COMPACT:
        return ""
    return f", axis {np.degrees(lie.axis):.0f} deg from the vertical"


def _spot(lie: Lie) -> str:
    """Where at the magnet."""
    if lie.share < MIDDLE:
        return "in the middle"
    off = f"{1e3 * lie.offset:.0f} mm off centre"
    return f"near its rim, {off}" if lie.share > RIM else off


def _listed(names: tuple[str, ...]) -> str:
    """ "a", "a and b", "a, b and c"."""
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"


def rests_answer(report: Rests) -> str:
    """Return the first line of `poses`: where a part stays, the likeliest first, and what was not
    searched."""
    name = report.system.bodies[report.body].name
    stays = [r for r in report.rests if r.verdict in STAYING]
    stays.sort(key=lambda r: -r.found)
    if not stays:
        said = f"no rest of {name} was found from {report.starts} starts"
    else:
        ways = list(dict.fromkeys(lie_words(r.lie) for r in stays))
        more = f" or {len(ways) - MOST} more ways" if len(ways) > MOST else ""
        said = f"{name} may rest {'; or '.join(ways[:MOST])}{more}"
    if report.interrupted:
        said += (
            f"; interrupted after {report.starts} of {report.planned} starts: others may be missing"
        )
    elif report.unfinished:
        said += f"; {report.unfinished} of {report.starts} starts came to no end"
    return f"{said[:1].upper()}{said[1:]}."
