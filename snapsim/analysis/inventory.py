"""What a scene is made of, before anything is computed: the JSON object and table of `check`."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from rich.console import Group, RenderableType
from rich.markup import escape
from rich.table import Table
from rich.text import Text

from snapsim.analysis.cautions import CAUTIONS
from snapsim.analysis.figures import number, numbers
from snapsim.analysis.rebounds import restitution_lines, restitutions
from snapsim.analysis.stray_field import stray_lines, stray_summary
from snapsim.errors import ComputationError, InputError, label
from snapsim.parts.bodies import Body
from snapsim.parts.shapes import Shape
from snapsim.simulation.conductors import braking_conductors
from snapsim.simulation.overlap import Overlap, close_pairs, refuse_overlaps
from snapsim.simulation.refinement import expected_low
from snapsim.simulation.system import System
from snapsim.words.accuracy import percent
from snapsim.words.braking import conductor_words

CENTRED = 1e-6
"""Offset [mm] of a centre of mass that is rounding."""


def inventory(system: System, warnings: Iterable[str]) -> dict[str, Any]:
    """Return title, bodies and warnings; inertia (3, 3) about the centre of mass, body axes.

    Raises OverlapError, and InputError for a shape that no cells can be made of.
    """
    if close_pairs(system):
        from snapsim.run.first_use import prepare  # loads the compiler, which most scenes spare

        prepare("gaps")
    shared = refuse_overlaps(system)
    return {
        "title": system.title,
        "note": system.note,
        "duration_s": number(system.duration),
        "detail": system.detail,
        "bodies": {body.name: _body(system, i) for i, body in enumerate(system.bodies)},
        "overlaps": [_overlap(o) for o in shared],
        "stray_field": stray_summary(system),
        "restitution_of_materials": restitutions(system),
        "warnings": list(warnings),
    }


def _body(system: System, i: int) -> dict[str, Any]:
    body, pose = system.bodies[i], system.start.pose
    cells = _cells(system, body) if system.has_cells(body) else 0
    return {
        "shape": body.shape.kind,
        "material": body.material.name,
        "fixed": body.fixed,
        "mass_kg": number(body.mass),
        "inertia_kg_m2": [numbers(row) for row in body.inertia],
        "position_m": numbers(pose.position[i]),
        "quaternion": numbers(pose.quaternion[i]),
        "cells": cells,
        **_currents(system, i),
        **_expected(system, body, cells),
        **_drawn(body.shape),
    }


def _currents(system: System, i: int) -> dict[str, Any]:
    """Cells and modes of the eddy currents in a conductor that brakes."""
    if not system.eddy_currents or i not in braking_conductors(system.bodies):
        return {}
    from snapsim.simulation.eddy_brake import modes_of

    found = modes_of(system, i)
    times = {"slowest_s": number(found.time[0]), "quickest_s": number(found.time[-1])}
    return {"currents": {"cells": found.cells, "modes": len(found.time), **times}}


def _cells(system: System, body: Body) -> int:
    """How many cells a body gets; raises InputError where none can be made of its shape."""
    from snapsim.magnetics.cells import mesh

    try:
        return len(mesh(body.shape, system.detail).volume)
    except ComputationError as error:
        key = f"body.{label(body.name)}.shape"
        raise InputError(str(error), file=system.file, key=key) from None


def _expected(system: System, body: Body, cells: int) -> dict[str, float]:
    """By how much the force on a soft part may be found too small, before it is computed."""
    if not body.is_soft:
        return {}
    away, edge = expected_low(system.detail, cells, max(len(body.shape.members), 1))
    return {"force_low_by_up_to": away, "force_low_by_up_to_at_an_edge": edge}


def _drawn(shape: Shape) -> dict[str, Any]:
    """Where the centre of mass is in the author's own coordinates, for shapes that have some."""
    centre = shape.drawn_centre
    return {} if centre is None else {"centre_as_drawn_m": numbers(centre)}


def _overlap(found: Overlap) -> dict[str, Any]:
    """Two fixed bodies in one place, which nothing computed is wrong by: others are refused."""
    return {"bodies": [found.body, found.other], "depth_m": number(found.depth)}


def inventory_table(result: dict[str, Any]) -> RenderableType:
    """Return the table of an `inventory`."""
    table = Table("body", "shape", "material", "held")
    for heading in ("mass\nkg", "inertia about x y z\nkg m^2", "cells"):
        table.add_column(heading, justify="right")
    for name, b in result["bodies"].items():
        table.add_row(*_row(name, b))
    shared = result["overlaps"]
    end = (
        f"a release follows {result['duration_s']:g} s of motion, detail {result['detail']};"
        f" {'nothing that moves overlaps' if shared else 'nothing overlaps'}"
    )
    currents = [
        Text(conductor_words(name, b["currents"]))
        for name, b in result["bodies"].items()
        if "currents" in b
    ]
    notes = [
        *currents,
        *_expectations(result),
        *_shared_places(shared),
        *_centres(result["bodies"]),
        *map(Text, restitution_lines(result["restitution_of_materials"])),
    ]
    warnings = [Text(f"note: {w}", style="yellow") for w in result["warnings"]]
    stray = [Text(line) for line in stray_lines(result["stray_field"])]
    said = [*stray, *(Text(c, style="yellow") for c in CAUTIONS)] if stray else []
    return Group(Text(result["title"], style="bold"), table, end, *notes, *warnings, *said)


def _row(name: str, b: dict[str, Any]) -> tuple[str, ...]:
    """A body's cells of the table."""
    diagonal = "  ".join(f"{b['inertia_kg_m2'][i][i]:.4g}" for i in range(3))
    held = "fixed" if b["fixed"] else "free"
    what = escape(name), b["shape"], escape(b["material"]), held
    return *what, f"{b['mass_kg']:.4g}", diagonal, str(b["cells"])


def _expectations(result: dict[str, Any]) -> list[Text]:
    """One line for all soft parts of one expectation."""
    alike: dict[tuple[float, float], list[str]] = {}
    for name, b in result["bodies"].items():
        if "force_low_by_up_to" in b:
            key = b["force_low_by_up_to"], b["force_low_by_up_to_at_an_edge"]
            alike.setdefault(key, []).append(f"{name} ({b['cells']} cells)")
    return [
        Text(
            f"{', '.join(names)}: forces off by up to {percent(away)}, mostly low; within a cell of"
            f" a magnet's edge by up to {percent(edge)}, low or high; snapsim force says it of this"
            " place"
        )
        for (away, edge), names in alike.items()
    ]


def _shared_places(overlaps: list[dict[str, Any]]) -> list[Text]:
    return [
        Text(
            f'note: "{a}" and "{b}" are both fixed and overlap by {1e3 * o["depth_m"]:.4g} mm;'
            " what moves meets both, and at most one of them is magnetised",
            style="yellow",
        )
        for o in overlaps
        for a, b in [o["bodies"]]
    ]


def _centres(bodies: dict[str, dict[str, Any]]) -> list[Text]:
    """Where `position` is in the author's own drawing, for bodies that are drawn elsewhere."""
    found = []
    for name, b in bodies.items():
        at = b.get("centre_as_drawn_m")
        if at is None:
            continue
        x, y, z = (1e3 * c for c in at)
        if max(abs(x), abs(y), abs(z)) < CENTRED:
            said = "its centre of mass is the origin of its drawing"
        else:
            said = f"its centre of mass is at {x:.4g}, {y:.4g}, {z:.4g} mm of its drawing"
        found.append(Text(f"{name}: {said}; `position` says where that point is"))
    return found
