"""What eddy currents did to a run in which conductors brake, in words."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from snapsim.magnetics.conductors.layout import has_equal_cells, too_long
from snapsim.parts.bodies import Body
from snapsim.parts.shapes import Ring
from snapsim.simulation.conductors import brakes, braking_conductors, conducting, joined
from snapsim.simulation.system import System

LITTLE = 0.02
"""Share of the braking below which what iron changes is little."""

COARSE = 0.06
"""Share of the braking that cells may miss without a line."""

LEAST = 1e-3
"""Share of the energy turned over below which braking is not worth a sentence."""


def braking_words(heat: float, turned_over: float, drifts: Sequence[Mapping[str, Any]]) -> str:
    """Return how much of the energy became Joule `heat` [J] of what was `turned_over` [J], and the
    speeds at which parts drift ("body", "speed_m_s"); "" where next to none did."""
    if not heat > LEAST * turned_over:
        return ""
    share = f"{100 * heat / turned_over:.0f} %" if turned_over > 0 else "all"
    said = (
        f"eddy currents braked: {_energy(heat)} became heat in conductors, {share} of the energy"
        " turned over"
    )
    ends = [f"{d['body']} drifts at a terminal {_speed(d['speed_m_s'])}" for d in drifts]
    return "; ".join([said, *ends])


def conductor_words(name: str, found: Mapping[str, Any]) -> str:
    """Return the line of `check` on a conductor: cells, modes and times of relaxation."""
    slowest = 1e3 * found["slowest_s"]
    return (
        f"{name}: eddy currents act, on {found['cells']} cells in {found['modes']} modes that die"
        f" away in {slowest:.2g} ms at the longest"
    )


def left_out_of_braking(
    system: System,
    unjoined: float = 0.0,
    iron: float | None = None,
    coarse: float | None = None,
) -> list[str]:
    """Return what is not modelled of eddy currents that brake, one line each, with its sign;
    `unjoined` is the share of a run's braking that conductors may change in each other, `iron` the
    one that the field of iron may change, `coarse` the one that their cells may miss."""
    found, bodies = brakes(system), system.bodies
    names = ", ".join(bodies[i].name for i in found)
    lines = []
    if found and any(b.is_soft for b in bodies):
        lines.append(
            f"eddy currents in {names} are driven by the magnets' own field: {_iron(iron)}"
        )
    others = [i for i in conducting(bodies) if i not in found]
    loose = not all(bodies[i].fixed for i in [*found, *others])
    if found and loose and len(joined(system)) + len(others) > 1:
        apart = ", ".join(bodies[i].name for i in [*found, *others])
        bound = f" by up to {100 * unjoined:.0f} % of their braking" if unjoined > 0 else ""
        lines.append(
            f"eddy currents in {apart} do not act on each other where these move relative to each"
            f" other: fast magnets by conductors one behind the other are braked too much"
            f" here{bound}, and the real ones are faster"
        )
    if any(b.coil is not None and len(b.coil.moments) for b in bodies) and conducting(bodies):
        lines.append(
            "what a coil's changing current induces in conductors is left out: real ones are kicked"
            " by it, with a jump of the current away from the coil or towards it"
        )
    lines += [line for i in found for line in _of_its_cells(bodies[i], coarse)]
    if coarse is not None and coarse > COARSE and not any(bodies[i].shape.members for i in found):
        lines.append(
            f"eddy currents in {names}: on these cells they brake too little, by up to"
            f" {100 * coarse:.0f} % of the braking; the real part is slower"
        )
    if not system.eddy_currents and braking_conductors(bodies):
        lines.append("eddy_currents = false: conductors do not brake; the real parts are slower")
    return lines


def _iron(share: float | None) -> str:
    """What the iron's field would do."""
    if share is not None and share < LITTLE:
        return "what iron adds to it changes the braking by less than 2 %"
    size = "" if share is None else f", by {100 * share:.0f} % or more"
    if share is not None and share < 1:
        size = f", by up to {100 * share:.0f} %"
    return (
        f"what iron adds to it is left out and changes the braking{size}: mostly the real part is"
        " braked more and arrives slower, but faster where iron stands between magnet and conductor"
    )


def _of_its_cells(body: Body, coarse: float | None) -> list[str]:
    """What the cells of a conductor leave out, unless a run says by how much."""
    shape = body.shape.simplest
    if shape.members:
        return [
            f"eddy currents in {body.name}: its members count as insulated from each other where"
            " their cells do not meet; the real one brakes more"
        ]
    if coarse is not None:
        return []
    if not has_equal_cells(shape):
        return [
            f"eddy currents in {body.name}: on its cells a thin wall brakes too little, a flat disc"
            " by a sixth at normal and up to a half at draft; the real part is slower, and the run"
            " says by how much at most"
        ]
    if isinstance(shape, Ring) and too_long(shape):
        return [
            f"eddy currents in {body.name}: so long a tube has cells longer than half its radius"
            " here, which brake a tenth too little near the axis or less; the real part is slower"
        ]
    return []


def _energy(value: float) -> str:
    return f"{1e3 * value:.3g} mJ" if value < 0.1 else f"{value:.3g} J"


def _speed(value: float) -> str:
    return f"{1e3 * value:.3g} mm/s" if value < 0.1 else f"{value:.3g} m/s"
