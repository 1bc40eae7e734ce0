"""Energy and torque of a part against the angle it is turned by."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Final

import numpy as np

from snapsim.arrays import Array
from snapsim.landscape.confirmation import Safety
from snapsim.landscape.curves import AngleCurve
from snapsim.render.plots.figure import Plot
from snapsim.render.plots.style import DASHES, Paper, entitle

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

ENERGY_HEIGHT, TORQUE_HEIGHT = 4.9, 6.2
NARROW: Final = 0.22
"""Share of the turn below which the words of a band stand upright."""

HARDLY: Final = 0.02
"""Share of the largest torque below which saturation changes nothing that can be seen."""

PARTS = (
    ("couple", "couple: turns its magnetisation into the field"),
    ("uneven_pull", "uneven pull: the nearer end leads"),
    ("pull_arm", "pull of the magnet at its centre"),
    ("weight_arm", "weight"),
)


Told = Sequence[tuple[float, Safety]]
"""Angles [rad], rising, and what is known of the part let go there."""


def energy_plot(curve: AngleCurve, title: str, told: Told = ()) -> Plot:
    """Energy [J] against angle [deg]: the present pose, crests and hollows marked; behind it bands
    between angles from which a part let go ends alike."""
    return Plot(ENERGY_HEIGHT, lambda figure, paper: _energy(figure, paper, curve, title, told))


def saturation_plot(curve: AngleCurve, linear: AngleCurve, title: str) -> Plot:
    """Torque about the axis [N m] against angle [deg], with saturation and as if without."""
    return Plot(ENERGY_HEIGHT, lambda figure, paper: _both(figure, paper, curve, linear, title))


def torque_plot(curve: AngleCurve, title: str) -> Plot:
    """Torque about the axis [N m] against angle [deg], in its parts."""
    return Plot(TORQUE_HEIGHT, lambda figure, paper: _torque(figure, paper, curve, title))


def _energy(figure: Figure, paper: Paper, curve: AngleCurve, title: str, told: Told) -> None:
    axes = figure.subplots()
    _bands(axes, paper, told)
    degrees, energy = np.degrees(curve.angle), curve.energy
    axes.plot(degrees, energy, color=paper.series[0], label="energy, magnetic and weight")
    axes.plot(
        degrees, curve.magnetic, color=paper.series[1], ls=DASHES[1], lw=1.8, label="magnetic alone"
    )
    _mark(axes, paper, degrees, energy)
    axes.set(xlabel="turned by [deg]", ylabel="energy [J]")
    axes.margins(y=0.2)
    entitle(axes, title)
    figure.legend(loc="outside lower center", ncols=2)


def bands(told: Told) -> list[tuple[float, float, Safety]]:
    """Return (from, to, what is known) [rad] of runs of angles told alike, with gaps between."""
    found: list[tuple[float, float, Safety]] = []
    for angle, known in told:
        if found and found[-1][2] is known:
            found[-1] = found[-1][0], angle, known
        else:
            found.append((angle, angle, known))
    return found


def _bands(axes: Axes, paper: Paper, told: Told) -> None:
    """What becomes of the part, shaded, with words along the upper edge."""
    for low, high, known in bands(told):
        bad = known is not Safety.DOES_NOT_SNAP
        colour = paper.warn if bad else paper.series[2]
        a, b = np.degrees(low) - 0.4, np.degrees(high) + 0.4
        axes.axvspan(a, b, color=colour, alpha=0.16, lw=0)
        turned = b - a < NARROW * np.degrees(told[-1][0] - told[0][0])
        axes.text(
            0.5 * (a + b), 0.985, known.value, transform=axes.get_xaxis_transform(), ha="center",
            va="top", color=colour, size=11.5, weight="bold", rotation=90 if turned else 0,
        )  # fmt: skip


def _both(figure: Figure, paper: Paper, curve: AngleCurve, linear: AngleCurve, title: str) -> None:
    axes = figure.subplots()
    rows = (curve, "as it is"), (linear, "if the iron never saturated")
    for (one, label), colour, dash in zip(rows, paper.series, DASHES, strict=False):
        axes.plot(np.degrees(one.angle), one.parts.total, color=colour, ls=dash, label=label)
    axes.axhline(0, color=paper.soft, lw=1)
    axes.axvline(0, color=paper.soft, lw=1, ls=DASHES[2])
    axes.set(xlabel="turned by [deg]", ylabel="torque, weight included [N m]")
    apart = float(np.nanmax(np.abs(curve.parts.total - linear.parts.total)))
    if apart < HARDLY * float(np.nanmax(np.abs(curve.parts.total))):
        axes.text(
            0.5, 0.985, "hardly saturated in any of these poses:\nlook nearer to the pole",
            transform=axes.transAxes, ha="center", va="top", color=paper.warn, size=11.5,
            weight="bold",
        )  # fmt: skip
        axes.margins(y=0.25)
    entitle(axes, title)
    figure.legend(loc="outside lower center", ncols=2)


def _mark(axes: Axes, paper: Paper, degrees: Array, energy: Array) -> None:
    """Present pose, crests (points of no return) and hollows (rests of this one motion)."""
    if degrees.min() <= 0 <= degrees.max() and np.isfinite(energy).any():
        now = float(np.interp(0.0, degrees[np.isfinite(energy)], energy[np.isfinite(energy)]))
        axes.plot(0, now, "o", ms=11, mfc=paper.page, mec=paper.ink, mew=2.2, zorder=5)
        axes.annotate(
            "now", (0, now), xytext=(0, -24), textcoords="offset points", ha="center",
            color=paper.ink, size=11.5, weight="bold",
        )  # fmt: skip
    for at, value, crest in extremes(degrees, energy):
        shape = "^" if crest else "v"
        axes.plot(at, value, shape, ms=11, color=paper.warn if crest else paper.series[2], zorder=6)
        _say(
            axes,
            paper,
            at,
            value,
            f"{'crest' if crest else 'hollow'} {round(at)}°",
            8 if crest else -16,
        )


def _say(axes: Axes, paper: Paper, x: float, y: float, text: str, up: float) -> None:
    axes.annotate(
        text, (x, y), xytext=(-6, up), textcoords="offset points", ha="right", color=paper.ink,
        size=11.5, weight="bold",
    )  # fmt: skip


def extremes(x: Array, y: Array) -> list[tuple[float, float, bool]]:
    """Return (x, y, is a crest) of the inner local extremes of y, by parabolas through three."""
    found = []
    for k in range(1, len(x) - 1):
        a, b, c = y[k - 1 : k + 2]
        if not np.isfinite([a, b, c]).all() or (b - a) * (c - b) >= 0:
            continue
        fit = np.polyfit(x[k - 1 : k + 2] - x[k], [a, b, c], 2)
        at = float(-fit[1] / (2 * fit[0]))
        found.append((float(x[k]) + at, float(np.polyval(fit, at)), bool(fit[0] < 0)))
    return found


def _torque(figure: Figure, paper: Paper, curve: AngleCurve, title: str) -> None:
    axes = figure.subplots()
    degrees = np.degrees(curve.angle)
    for (name, label), colour, dash in zip(PARTS, paper.series, DASHES, strict=True):
        axes.plot(degrees, getattr(curve.parts, name), color=colour, ls=dash, lw=2, label=label)
    axes.plot(degrees, curve.parts.total, color=paper.ink, lw=3.4, label="all together")
    axes.axhline(0, color=paper.soft, lw=1)
    axes.axvline(0, color=paper.soft, lw=1, ls=DASHES[2])
    axes.set(xlabel="turned by [deg]", ylabel="torque [N m]")
    entitle(axes, title)
    figure.legend(loc="outside lower center", ncols=1)
