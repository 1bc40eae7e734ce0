"""How a part rests, in words: "flat under magnet, near its rim, 66 mm off centre"."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Final

import numpy as np

from snapsim.arrays import Array
from snapsim.landscape.lie import MIDDLE, RIM, Attitude, Lie, LieSide

if TYPE_CHECKING:
    from snapsim.landscape.joint_rests import JointRests
    from snapsim.landscape.rests import Rests

_ATTITUDES: Final[dict[Attitude, str]] = {
    Attitude.FLAT: "flat",
    Attitude.ON_EDGE: "on edge",
    Attitude.ON_END: "on end",
    Attitude.ON_SIDE: "on its side",
    Attitude.LEANING: "leaning",
    Attitude.COMPACT: "",
}


def arrangement_words(lies: Sequence[Lie]) -> str:
    """Return how several bodies rest together: "left: on edge on table; right: on table"."""
    return "; ".join(f"{one.body}: {lie_words(one)}" for one in lies)


def together_answer(report: JointRests) -> str:
    """Return the first line of `poses --together`: the arrangements that stay, lowest first."""
    stays = [r for r in report.rests if r.verdict in STAYING]
    if not stays:
        said = f"no arrangement that stays was found from {report.starts} starts"
    else:
        said = " -- or -- ".join(
            f"{arrangement_words(r.lies)}{_pushing(r.between)}" for r in stays[:MOST]
        )
        said += f" -- or {len(stays) - MOST} more" if len(stays) > MOST else ""
    if report.interrupted:
        said += f"; interrupted after {report.starts} of {report.planned} starts"
    elif report.unfinished:
        said += f"; {report.unfinished} of {report.starts} starts came to no end"
    return f"{said[:1].upper()}{said[1:]}."


def _pushing(between: Mapping[tuple[str, str], Array]) -> str:
    """How hard the first two free bodies pull or push each other."""
    for (one, other), force in between.items():
        size = float(np.linalg.norm(force))
        if size > 0.01:
            return f" ({one} and {other} act on each other with {size:.2g} N)"
    return ""


MOST: Final = 4
"""Rests named in the first line."""

STAYING: Final = frozenset({"stable", "held by friction"})
"""Verdicts of rests that a part does not leave by itself."""


def lie_words(lie: Lie) -> str:
    """Return how a part rests, without its name."""
    if lie.magnet and lie.others:
        said = f"wedged between {_listed((*lie.others, lie.magnet))}{_axis(lie)}"
    elif lie.magnet:
        said = f"{_attitude(lie)} {lie.side.value} {lie.magnet}, {_spot(lie)}"
    elif (lie.facing or lie.beside) and not lie.others:
        said = _attitude(lie)
    elif lie.others:
        where = "on" if lie.side is LieSide.ON_TOP else lie.side.value
        said = f"{_attitude(lie)} {where} {_listed(lie.others)}"
    elif lie.joints:
        said = f"hanging on {_listed(lie.joints)}{_axis(lie)}"
    else:
        said = f"free in the air{_axis(lie)}"
    if lie.facing:
        said += f", face to face with {_listed(lie.facing)}"
    if lie.beside:
        said += f", touching {_listed(lie.beside)}"
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
