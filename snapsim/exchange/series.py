"""A run as a VTK time series: one `.vtp` a frame in a folder, and a `.pvd` that lists them.

The collection format is that of VTK's XML files (VTK file formats, Kitware, "XML File Formats"; the
`Collection` element as its readers take it; from memory).
"""

from __future__ import annotations

from pathlib import Path
from xml.etree import ElementTree

import numpy as np
import pyvista as pv

from snapsim.numerics import rotations
from snapsim.render.solid import FINENESS
from snapsim.simulation.trajectory import Trajectory
from snapsim.storage.whole_file import whole_file


def write_series(run: Trajectory, path: Path, name: str, force: bool) -> int:
    """Write the frames into the folder `name`.frames beside `name`, the list into `path`; return
    how many there are. Each body's triangles have its number, its speed [m/s] and the magnetic
    force on it [N]. Of two frames at one time (before and after a blow) the later is left out."""
    folder = Path(name).with_suffix(".frames")
    folder.mkdir(exist_ok=True)
    listed = ElementTree.Element("VTKFile", type="Collection", version="0.1")
    collection = ElementTree.SubElement(listed, "Collection")
    kept = [0, *(np.flatnonzero(np.diff(run.time) > 0) + 1).tolist()]
    meshes = [body.shape.surface(FINENESS) for body in run.system.bodies]
    for k in kept:
        file = folder / f"{k:06d}.vtp"
        with whole_file(file, force) as temporary:
            _frame(run, k, meshes).save(temporary.with_suffix(".vtp"))
            temporary.with_suffix(".vtp").replace(temporary)
        attributes = {"timestep": repr(float(run.time[k])), "part": "0", "group": ""}
        ElementTree.SubElement(collection, "DataSet", attributes, file=f"{folder.name}/{file.name}")
    ElementTree.indent(listed)
    ElementTree.ElementTree(listed).write(path, encoding="utf-8", xml_declaration=True)
    return len(kept)


def _frame(run: Trajectory, k: int, meshes: list[tuple[np.ndarray, np.ndarray]]) -> pv.PolyData:
    corners, faces, numbers, first = [], [], [], 0
    for i, (points, triangles) in enumerate(meshes):
        turn = rotations.matrix(run.quaternion[k, i])
        corners.append(points @ turn.T + run.position[k, i])
        faces.append(triangles + first)
        numbers.append(np.full(len(triangles), i))
        first += len(points)
    made: pv.PolyData = pv.PolyData.from_regular_faces(
        np.concatenate(corners), np.concatenate(faces)
    )
    number = np.concatenate(numbers)
    made.cell_data["body"] = number
    made.cell_data["speed_m_s"] = np.linalg.norm(run.velocity[k], axis=1)[number]
    made.cell_data["force_N"] = run.force[k][number]
    return made
