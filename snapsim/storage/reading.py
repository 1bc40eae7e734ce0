"""Reads an HDF5 run file back."""

from __future__ import annotations

import re
import shutil
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import fields, replace
from os import PathLike, fspath
from tempfile import NamedTemporaryFile
from typing import Any, Final, get_args

import h5py
import numpy as np

from snapsim.arrays import Array
from snapsim.errors import InputError
from snapsim.mechanics.ending import Ending, EndReason, Outcome, Parting
from snapsim.simulation.system import System
from snapsim.simulation.trajectory import (
    Audit,
    Cells,
    Cost,
    Load,
    Trajectory,
)
from snapsim.storage import columns
from snapsim.storage.datasets import floats, text
from snapsim.storage.impacts import read_impacts
from snapsim.storage.link_names import escape
from snapsim.storage.seal import CUT_SHORT, check_seal, check_structure
from snapsim.storage.twins import read_twins
from snapsim.storage.writing import FORMAT, FORMAT_VERSION, content_hash
from snapsim.work.standard_streams import STREAM

Rebuild = Callable[[str, str], System]
"""Makes the system again from the resolved scene (TOML) and a file name for errors."""


def read_run(path: str | PathLike[str], rebuild: Rebuild) -> Trajectory:
    """Return the trajectory stored at `path`, "-" for standard input, exactly as it was written.

    Raises InputError for a file that is missing, cut short, damaged or no run file.
    """
    shown = fspath(path)
    if shown == STREAM:
        with NamedTemporaryFile(suffix=".h5") as copy:
            shutil.copyfileobj(sys.stdin.buffer, copy)
            copy.flush()
            return read_run(copy.name, rebuild)
    with _one_line_errors(shown):
        check_seal(shown)
        with h5py.File(path, "r") as file:
            _check_format(file, shown)
            check_structure(file, shown)
            found = _trajectory(file, _system(file, rebuild, shown))
    _check_frames(found, shown)
    return found


def _check_frames(run: Trajectory, shown: str) -> None:
    """Raise InputError unless every series has one entry a frame and time goes on."""
    frames = len(run.time)
    series = {
        **{name: getattr(run, name) for name in columns.MOTION},
        **{f"energy/{name}": values for name, values in run.energy.items()},
        **{f"work/{name}": values for name, values in run.work.items()},
        **{f"magnetisation of {name}": values for name, values in run.magnetisation.items()},
        **{f"currents in {name}": values for name, values in run.currents.items()},
        **{f"load on {name}": values for name, values in run.bearing.items()},
        "gap": run.gap,
    }
    for name, values in series.items():
        if len(values) != frames:
            raise InputError(
                f"is damaged: {name} has {len(values)} entries at {frames} times", file=shown
            )
    bearing = [b.name for b in run.system.bodies if b.fixed]
    bearing += [j.name for j in run.system.joints if j.slack is not None]
    for name in bearing:
        if name not in run.loads:
            raise InputError(f'is damaged: the load on "{name}" is missing', file=shown)
    if not frames or not (np.diff(run.time) >= 0).all() or not np.isfinite(run.time).all():
        raise InputError("is damaged: its times do not follow each other", file=shown)


@contextmanager
def _one_line_errors(shown: str) -> Iterator[None]:
    try:
        yield
    except FileNotFoundError:
        raise InputError("does not exist; give a run file written by release", file=shown) from None
    except IsADirectoryError:
        raise InputError("is a directory; give a run file", file=shown) from None
    except PermissionError:
        raise InputError("cannot be read: permission denied", file=shown) from None
    except OSError as error:
        raise InputError(_reason(str(error)), file=shown) from None
    except (
        KeyError,
        ValueError,
        TypeError,
        IndexError,
        RuntimeError,
        AttributeError,
        MemoryError,
    ) as error:
        detail = " ".join(str(error).split())[:120]
        if missing := _MISSING.search(detail):
            raise InputError(f'is damaged: "{missing[1]}" is missing', file=shown) from None
        raise InputError(f"is damaged, or no whole run file: {detail}", file=shown) from None


_MISSING: Final = re.compile(r"object '([^']*)' doesn't exist")
"""What h5py says of an item that is asked for and is not there."""


def _reason(text: str) -> str:
    """What HDF5's complaint means."""
    if "truncated" in text:
        return CUT_SHORT
    if "signature" in text:
        return "is no HDF5 file; give a run file written by release"
    if "lock" in text:
        return "is in use by another program; try again when it is done"
    return f"is damaged: {' '.join(text.split())[:120]}; run release again"


def _check_format(file: h5py.File, shown: str) -> None:
    if file.attrs.get("format") != FORMAT:
        raise InputError("is an HDF5 file, but no snapsim run", file=shown)
    found = int(file.attrs["format_version"])
    if found > FORMAT_VERSION:
        raise InputError(
            f"was written in format {found}; this version reads up to {FORMAT_VERSION}", file=shown
        )


def _system(file: h5py.File, rebuild: Rebuild, shown: str) -> System:
    scene = file["scene"]
    resolved = text(scene, "resolved")
    if content_hash(resolved) != scene.attrs["content_hash"]:
        raise InputError("is damaged: the stored scene does not match its hash", file=shown)
    system = rebuild(resolved, shown)
    named = {int(g.attrs["number"]): str(g.attrs["name"]) for g in file["bodies"].values()}
    if [named[i] for i in sorted(named)] != [b.name for b in system.bodies]:
        raise InputError("is damaged: its bodies are not those of its scene", file=shown)
    return replace(
        system,
        source=text(scene, "source"),
        resolved=resolved,
        file=str(scene.attrs["file"]),
        extra={k: str(v) for k, v in scene["extra"].attrs.items()},
    )


def _trajectory(file: h5py.File, system: System) -> Trajectory:
    motion = {name: _all_bodies(file, system, name) for name in columns.MOTION}
    soft = {b.name: g for b in system.bodies if "cells" in (g := file["bodies"][escape(b.name)])}
    energy = file["energy"]
    return Trajectory(
        system=system,
        ending=_ending(file.attrs),
        time=floats(file, "time"),
        position=motion["position"],
        quaternion=motion["quaternion"],
        velocity=motion["velocity"],
        spin=motion["spin"],
        force=motion["force"],
        torque=motion["torque"],
        energy={name: floats(energy, name) for name in columns.ENERGY}
        | {name: floats(energy, name) for name in columns.CURRENTS if name in energy},
        gap=floats(file, "gap"),
        cells={name: _cells(g["cells"]) for name, g in soft.items()},
        magnetisation={name: floats(g, "magnetisation") for name, g in soft.items()},
        currents=_currents(file, system),
        impacts=read_impacts(file["impacts"]),
        loads=_loads(file["loads"]),
        audit=Audit(**_numbers(energy["audit"], [f.name for f in fields(Audit)])),
        cost=_cost(file["cost"]),
        accuracy=_accuracy(file["accuracy"].attrs),
        work={name: floats(w, name) for w in [energy.get("work", {})] for name in w},
        bearing=_bearing(file["loads"]),
        twins=read_twins(file["twins"]) if "twins" in file else None,
    )


def _cells(group: h5py.Group) -> Cells:
    return Cells(floats(group, "position"), floats(group, "volume"))


def _currents(file: h5py.File, system: System) -> dict[str, Array]:
    """Amplitudes of current modes at the frames (k, m) of bodies that have them."""
    groups = {b.name: file["bodies"][escape(b.name)] for b in system.bodies}
    return {n: floats(g, "current_modes") for n, g in groups.items() if "current_modes" in g}


def _ending(attributes: h5py.AttributeManager) -> Ending:
    """How the run ended; of an older file, or of a newer version's reason, only the words."""
    outcome, code = attributes["outcome"], attributes.get("reason_code")
    if outcome not in get_args(Outcome):
        raise ValueError(f"outcome {outcome!r}")
    if code not in set(EndReason) - {EndReason.UNTOLD}:
        return Ending(outcome, EndReason.UNTOLD, told=str(attributes["reason"]))
    return Ending(outcome, EndReason(code), float(attributes["reason_figure"]))


def _all_bodies(file: h5py.File, system: System, name: str) -> Array:
    """One quantity of all bodies, (k, n, components)."""
    groups = [file["bodies"][escape(b.name)] for b in system.bodies]
    return np.ascontiguousarray(np.stack([floats(g, name) for g in groups], axis=1))


def _loads(group: h5py.Group) -> dict[str, Load]:
    ordered = sorted(group.values(), key=lambda g: int(g.attrs["number"]))
    return {str(g.attrs["name"]): _load(g) for g in ordered}


def _load(group: h5py.Group) -> Load:
    """A load; of why a joint of an older file parted it has the words only."""
    told, code = str(group.attrs.get("why", "")), group.attrs.get("why_code")
    given: dict[str, Any] = _numbers(group, list(columns.LOAD))
    if code in set(Parting) - {Parting.UNTOLD}:
        return Load(**given, why=Parting(code))
    return Load(**given, why=Parting.UNTOLD, told=told) if told else Load(**given)


def _bearing(group: h5py.Group) -> dict[str, Array]:
    """What was borne at the frames (k, 2); an older file has it not."""
    return {
        str(g.attrs["name"]): np.stack([floats(g, key) for key in columns.BEARING], axis=1)
        for g in group.values()
        if all(key in g for key in columns.BEARING)
    }


def _numbers(group: h5py.Group, names: list[str]) -> dict[str, float]:
    """Single numbers by name; those that an older file lacks are left out."""
    return {name: float(group[name][()]) for name in names if name in group}


def _cost(group: h5py.Group) -> Cost:
    a = group.attrs
    return Cost(int(a["field_evaluations"]), int(a["steps"]), float(a["wall_s"]))


def _accuracy(attributes: h5py.AttributeManager) -> dict[str, float | str]:
    """The entries; "meshes" is made from the others where the file has its code."""
    made = {"meshes"} if "meshes_code" in attributes else set()
    return {k: _value(v) for k, v in attributes.items() if k not in made}


def _value(value: object) -> float | str:
    return value if isinstance(value, str) else float(value)  # type: ignore[arg-type]
