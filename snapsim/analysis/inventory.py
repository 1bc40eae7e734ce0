"""What a scene is made of, before anything is computed: the JSON object and table of `check`."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from rich.console import Group, RenderableType
from rich.markup import escape
from rich.table import Table
from rich.text import Text

from snapsim.analysis.cautions import CAUTIONS
from snapsim.analysis.stray_field import stray_lines, stray_summary
from snapsim.analysis.summary import number, numbers
from snapsim.parts.shapes import Shape
from snapsim.simulation.system import System


def inventory(system: System, warnings: Iterable[str]) -> dict[str, Any]:
    """Return title, bodies and warnings; inertia (3, 3) about the centre of mass, body axes."""
    from snapsim.magnetics.cells import mesh

    pose = system.start.pose
    cells = [
        len(mesh(b.shape, system.detail).volume) if system.has_cells(b) else 0
        for b in system.bodies
    ]
    return {
        "title": system.title,
        "note": system.note,
        "duration_s": number(system.duration),
        "detail": system.detail,
        "bodies": {
            body.name: {
                "shape": body.shape.kind,
                "material": body.material.name,
                "fixed": body.fixed,
                "mass_kg": number(body.mass),
                "inertia_kg_m2": [numbers(row) for row in body.inertia],
                "position_m": numbers(pose.position[i]),
                "quaternion": numbers(pose.quaternion[i]),
                "cells": cells[i],
                **_drawn(body.shape),
            }
            for i, body in enumerate(system.bodies)
        },
        "overlaps": [],
        "stray_field": stray_summary(system),
        "warnings": list(warnings),
    }


def _drawn(shape: Shape) -> dict[str, Any]:
    """Where the centre of mass is in the author's own coordinates, for shapes that have some."""
    centre = shape.drawn_centre
    return {} if centre is None else {"centre_as_drawn_m": numbers(centre)}


def inventory_table(result: dict[str, Any]) -> RenderableType:
    """Return the table of an `inventory`."""
    table = Table("body", "shape", "material", "held")
    for heading in ("mass\nkg", "inertia about x y z\nkg m^2", "cells"):
        table.add_column(heading, justify="right")
    for name, b in result["bodies"].items():
        diagonal = "  ".join(f"{b['inertia_kg_m2'][i][i]:.4g}" for i in range(3))
        held = "fixed" if b["fixed"] else "free"
        row = (escape(name), b["shape"], escape(b["material"]), held)
        table.add_row(*row, f"{b['mass_kg']:.4g}", diagonal, str(b["cells"]))
    end = f"{result['duration_s']:g} s to compute, detail {result['detail']}; nothing overlaps"
    warnings = [Text(f"note: {w}", style="yellow") for w in result["warnings"]]
    stray = [Text(line) for line in stray_lines(result["stray_field"])]
    said = [*stray, *(Text(c, style="yellow") for c in CAUTIONS)] if stray else []
    return Group(Text(result["title"], style="bold"), table, end, *warnings, *said)
