"""Writes a trajectory as an HDF5 run file."""

from __future__ import annotations

import hashlib
import io
from collections.abc import Mapping
from dataclasses import fields
from errno import ENOSPC
from importlib.metadata import PackageNotFoundError, version
from os import PathLike
from pathlib import Path
from shutil import disk_usage

import h5py
import numpy as np

from snapsim.arrays import Array
from snapsim.errors import storable
from snapsim.simulation.trajectory import Audit, Trajectory
from snapsim.storage import columns
from snapsim.storage.datasets import put, put_text, scale
from snapsim.storage.impacts import write_impacts
from snapsim.storage.link_names import escape
from snapsim.storage.seal import BLOCK, seal
from snapsim.storage.twins import write_twins
from snapsim.storage.whole_file import whole_file
from snapsim.words.endings import ending_words, parting_words
from snapsim.words.meshes import with_mesh_words

FORMAT = "snapsim run"
FORMAT_VERSION = 1

_PACKAGES = ("snapsim", "numpy", "scipy", "numba", "h5py", "pydantic", "pint")


def write_run(trajectory: Trajectory, path: str | PathLike[str], force: bool = False) -> None:
    """Write `trajectory` to `path`, whole or not at all.

    An existing file is kept unless `force`; raises OutputError. The same run gives the same
    datasets each time; only the attribute `wall_s` of /cost may differ. The file is made in memory:
    a disk that fills up under the HDF5 library ends the whole process.
    """
    with whole_file(path, force) as temporary:
        write_content(trajectory, temporary)


def write_content(trajectory: Trajectory, path: Path) -> None:
    """Write the bytes of a run file; raises OSError, before a byte is written where there is no
    room for all."""
    content = _content(trajectory).getbuffer()
    seal(content)
    free = disk_usage(path.parent).free
    if free < len(content):
        raise OSError(ENOSPC, f"{len(content):,} bytes are due, {free:,} are free on the disk")
    with open(path, "wb") as file:
        file.write(content)


def _content(trajectory: Trajectory) -> io.BytesIO:
    content = io.BytesIO()
    with h5py.File(content, "w", userblock_size=BLOCK) as file:
        file.attrs["format"] = FORMAT
        file.attrs["format_version"] = FORMAT_VERSION
        file.attrs["outcome"] = trajectory.outcome
        file.attrs["reason"] = ending_words(trajectory.ending)
        file.attrs["reason_code"] = trajectory.reason.value
        file.attrs["reason_figure"] = trajectory.ending.figure
        _write_scene(file, trajectory)
        time = scale(put(file, "time", trajectory.time, "s", "time since release"), "time")
        frame = [("time", time)]
        put(file, "gap", trajectory.gap, "m", "smallest gap of a free body to a magnet", frame)
        _write_bodies(file, trajectory, time)
        write_impacts(file.create_group("impacts"), trajectory.impacts)
        _write_loads(file, trajectory, time)
        _write_energy(file, trajectory, time)
        _write_cost(file, trajectory)
        if trajectory.twins is not None:
            write_twins(file.create_group("twins"), trajectory.twins)
    return content


def content_hash(resolved: str) -> str:
    """Return the hash of a resolved scene: equal for equal scenes."""
    return hashlib.sha256(resolved.encode()).hexdigest()


def package_versions() -> dict[str, str]:
    """Return the versions of the packages a result depends on."""
    found = {}
    for package in _PACKAGES:
        try:
            found[package] = version(package)
        except PackageNotFoundError:
            found[package] = "not installed"
    return found


def _write_scene(file: h5py.File, trajectory: Trajectory) -> None:
    system = trajectory.system
    group = file.create_group("scene")
    put_text(group, "source", system.source, "the scene as read (TOML)")
    put_text(group, "resolved", system.resolved, "the scene with everything filled in (TOML)")
    group.attrs["title"] = storable(system.title)
    group.attrs["file"] = storable(system.file)
    group.attrs["content_hash"] = content_hash(system.resolved)
    _write_pairs(group.create_group("versions"), package_versions())
    _write_pairs(group.create_group("extra"), system.extra)


def _write_pairs(group: h5py.Group, pairs: Mapping[str, float | str]) -> None:
    for key, value in pairs.items():
        group.attrs[key] = str(value) if isinstance(value, str) else value  # an enum's member too


def _write_bodies(file: h5py.File, trajectory: Trajectory, time: h5py.Dataset) -> None:
    scales = file.create_group("scales")
    axis = put_text(scales, "axis", ["x", "y", "z"], "axes of a vector")
    part = put_text(scales, "quaternion", ["w", "x", "y", "z"], "parts of a quaternion")
    components = {3: ("axis", scale(axis, "axis")), 4: ("quaternion", scale(part, "quaternion"))}
    bodies = file.create_group("bodies")
    for number, body in enumerate(trajectory.system.bodies):
        group = bodies.create_group(escape(body.name))
        group.attrs["name"] = body.name
        group.attrs["number"] = number
        group.attrs["mass_kg"] = body.mass
        for name, (units, description) in columns.MOTION.items():
            values = getattr(trajectory, name)[:, number]
            dimensions = [("time", time), components[values.shape[1]]]
            put(group, name, values, units, description, dimensions)
        if body.name in trajectory.currents:
            _write_currents(group, trajectory.currents[body.name], time)
        if body.name in trajectory.cells:
            _write_cells(group, trajectory, body.name, time, components[3])


def _write_currents(group: h5py.Group, amplitudes: Array, time: h5py.Dataset) -> None:
    """How much there is of each mode of a conductor's currents at the frames (k, m)."""
    number = put(group, "mode", np.arange(amplitudes.shape[1]), "1", "number of a current mode")
    description = "eddy currents: amplitude of each mode, slowest first; half its square is energy"
    dimensions = [("time", time), ("mode", scale(number, "mode"))]
    put(group, "current_modes", amplitudes, "J^0.5", description, dimensions)


def _write_cells(
    group: h5py.Group,
    trajectory: Trajectory,
    name: str,
    time: h5py.Dataset,
    axis: tuple[str, h5py.Dataset],
) -> None:
    cells = trajectory.cells[name]
    inner = group.create_group("cells")
    number = put(inner, "number", np.arange(len(cells.volume)), "1", "number of the cell")
    cell = ("cell", scale(number, "cell"))
    put(inner, "position", cells.position, "m", "centre of the cell, body axes", [cell, axis])
    put(inner, "volume", cells.volume, "m^3", "volume of the cell", [cell])
    put(
        group,
        "magnetisation",
        trajectory.magnetisation[name],
        "A/m",
        "magnetisation of each cell, body axes",
        [("time", time), cell, axis],
    )


def _write_loads(file: h5py.File, trajectory: Trajectory, time: h5py.Dataset) -> None:
    group = file.create_group("loads")
    for number, (name, load) in enumerate(trajectory.loads.items()):
        inner = group.create_group(escape(name))
        inner.attrs["name"] = name
        inner.attrs["number"] = number
        for key, (units, description) in columns.LOAD.items():
            put(inner, key, getattr(load, key), units, description)
        inner.attrs["why"] = parting_words(load.why, load.told)
        inner.attrs["why_code"] = "" if load.why is None else load.why.value
        if name in trajectory.bearing:
            for k, (key, (units, description)) in enumerate(columns.BEARING.items()):
                values = trajectory.bearing[name][:, k]
                put(inner, key, values, units, description, [("time", time)])


def _write_energy(file: h5py.File, trajectory: Trajectory, time: h5py.Dataset) -> None:
    group = file.create_group("energy")
    currents = columns.CURRENTS if trajectory.currents else {}
    for name, description in (columns.ENERGY | currents).items():
        put(group, name, trajectory.energy[name], "J", description, [("time", time)])
    work = group.create_group("work")
    for name, values in trajectory.work.items():
        put(work, name, values, "J", columns.WORK[name], [("time", time)])
    audit = group.create_group("audit")
    for field in fields(Audit):
        units, description = columns.AUDIT[field.name]
        put(audit, field.name, getattr(trajectory.audit, field.name), units, description)


def _write_cost(file: h5py.File, trajectory: Trajectory) -> None:
    cost = file.create_group("cost")
    cost.attrs["field_evaluations"] = trajectory.cost.field_evaluations
    cost.attrs["steps"] = trajectory.cost.steps
    cost.attrs["wall_s"] = trajectory.cost.wall
    _write_pairs(file.create_group("accuracy"), with_mesh_words(trajectory.accuracy))
