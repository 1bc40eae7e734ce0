"""A run or a scene as glTF 2.0 in one binary file (.glb): bodies, poles, trail, and their motion.

What is written follows the specification of the Khronos Group, glTF 2.0 (2021; ISO/IEC 12113:2022):
chunks 4.4, accessors 3.6, animations 3.11, y upward and metres 3.4. Colours are linear there
(3.9.2), so sRGB is taken apart by IEC 61966-2-1. Times are single precision: a frame that would
fall on the one before is put one step of that precision later.
"""

from __future__ import annotations

import json
import struct
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

from snapsim.arrays import Array, ArrayLike
from snapsim.parts.bodies import Body
from snapsim.parts.states import Pose
from snapsim.render import palette
from snapsim.render.framing import leading_part
from snapsim.render.interpolation import sample
from snapsim.render.solid import DrawnSurface, surfaces
from snapsim.simulation.system import System
from snapsim.simulation.trajectory import Trajectory

RATE = 240.0
"""Poses a second of simulated time, besides the run's own frames; between them straight lines."""

_FLOAT, _UINT = 5126, 5125  # component types, table in 3.6.2.2
_VERTICES, _INDICES = 34962, 34963  # targets of buffer views, 5.11
_LINE_STRIP, _TRIANGLES = 3, 4  # primitive modes, 5.24
_UPRIGHT = [-(0.5**0.5), 0.0, 0.0, 0.5**0.5]  # z upward to y upward; x, y, z, w


def scene_glb(system: System, path: Path) -> None:
    """Write a scene as placed."""
    _write(_document(system, None), path)


def run_glb(run: Trajectory, path: Path) -> None:
    """Write a run: its bodies moving in real time, the leading part's trail as a line."""
    _write(_document(run.system, run), path)


@dataclass
class _Buffer:
    """The binary chunk while it grows, and the views and accessors into it."""

    data: bytearray = field(default_factory=bytearray)
    views: list[dict[str, Any]] = field(default_factory=list)
    accessors: list[dict[str, Any]] = field(default_factory=list)

    def add(self, values: ArrayLike, kind: str, target: int | None = None) -> int:
        """Append an array of "SCALAR", "VEC3" or "VEC4" and return its accessor's number."""
        whole = np.issubdtype(np.asarray(values).dtype, np.integer)
        rows: np.ndarray[Any, Any] = np.ascontiguousarray(values, dtype="<u4" if whole else "<f4")
        view = {"buffer": 0, "byteOffset": len(self.data), "byteLength": rows.nbytes}
        self.data += rows.tobytes()
        self.views.append(view if target is None else view | {"target": target})
        flat = rows.reshape(len(rows), -1)
        self.accessors.append(
            {
                "bufferView": len(self.views) - 1,
                "componentType": _UINT if whole else _FLOAT,
                "count": len(rows),
                "type": kind,
                "min": flat.min(axis=0).tolist(),
                "max": flat.max(axis=0).tolist(),
            }
        )
        return len(self.accessors) - 1


def _document(system: System, run: Trajectory | None) -> tuple[dict[str, Any], bytes]:
    buffer, materials = _Buffer(), _Materials()
    meshes = [_mesh(body, buffer, materials) for body in system.bodies]
    nodes = [_node(b, system.start.pose, i) for i, b in enumerate(system.bodies)]
    document: dict[str, Any] = {"asset": {"version": "2.0", "generator": "snapsim"}}
    if run is not None:
        document["animations"] = [_animation(run, buffer)]
        meshes.append(_trail(run, buffer, materials))
        nodes.append({"name": "trail", "mesh": len(meshes) - 1})
    stage = {"name": system.title, "rotation": _UPRIGHT, "children": list(range(len(nodes)))}
    document |= {
        "scene": 0,
        "scenes": [{"name": system.title, "nodes": [len(nodes)]}],
        "nodes": [*nodes, stage],
        "meshes": meshes,
        "materials": materials.made,
        "accessors": buffer.accessors,
        "bufferViews": buffer.views,
        "buffers": [{"byteLength": len(buffer.data)}],
    }
    return document, bytes(buffer.data)


class _Materials:
    """Materials by colour, opacity and metal, each made once."""

    def __init__(self) -> None:
        self.made: list[dict[str, Any]] = []
        self._number: dict[tuple[str, float, bool], int] = {}

    def number(self, colour: str, opacity: float, metallic: bool) -> int:
        """Return the number of a material."""
        key = colour, opacity, metallic
        if key not in self._number:
            self._number[key] = len(self.made)
            shine = {"metallicFactor": 0.85, "roughnessFactor": 0.4}
            dull = {"metallicFactor": 0.0, "roughnessFactor": 0.8}
            base = {"baseColorFactor": [*linear_light(colour), opacity]}
            made: dict[str, Any] = {"pbrMetallicRoughness": base | (shine if metallic else dull)}
            self.made.append(made if opacity == 1 else made | {"alphaMode": "BLEND"})
        return self._number[key]


def linear_light(colour: str) -> list[float]:
    """Return "#RRGGBB" as linear light (3,), 0 to 1 (IEC 61966-2-1)."""
    shares = np.array(palette.rgb(colour)) / 255
    light = np.where(shares <= 0.04045, shares / 12.92, ((shares + 0.055) / 1.055) ** 2.4)
    return [round(float(c), 6) for c in light]


def _mesh(body: Body, buffer: _Buffer, materials: _Materials) -> dict[str, Any]:
    return {
        "name": body.name,
        "primitives": [_primitive(s, buffer, materials) for s in surfaces(body)],
    }


def _primitive(surface: DrawnSurface, buffer: _Buffer, materials: _Materials) -> dict[str, Any]:
    mesh = surface.mesh
    normals = np.asarray(mesh.point_data["Normals"], dtype=np.float64)
    lengths = np.linalg.norm(normals, axis=1, keepdims=True)
    unit = np.divide(
        normals, lengths, out=np.tile([0.0, 0.0, 1.0], (len(normals), 1)), where=lengths > 0
    )
    return {
        "attributes": {
            "POSITION": buffer.add(np.asarray(mesh.points), "VEC3", _VERTICES),
            "NORMAL": buffer.add(unit, "VEC3", _VERTICES),
        },
        "indices": buffer.add(mesh.regular_faces.ravel(), "SCALAR", _INDICES),
        "mode": _TRIANGLES,
        "material": materials.number(surface.colour, surface.opacity, surface.metallic),
    }


def _node(body: Body, pose: Pose, number: int) -> dict[str, Any]:
    return {
        "name": body.name,
        "mesh": number,
        "translation": pose.position[number].tolist(),
        "rotation": _xyzw(pose.quaternion[number]).tolist(),
    }


def _trail(run: Trajectory, buffer: _Buffer, materials: _Materials) -> dict[str, Any]:
    leading = leading_part(run.system, run.velocity)
    points = buffer.add(run.position[:, leading], "VEC3", _VERTICES)
    colour = materials.number(palette.TRAIL, 1.0, False)
    line = {"attributes": {"POSITION": points}, "mode": _LINE_STRIP, "material": colour}
    return {"name": "trail", "primitives": [line]}


def _animation(run: Trajectory, buffer: _Buffer) -> dict[str, Any]:
    """Translation and rotation of each free body; all share one clock."""
    times, position, quaternion = _sampled(run)
    clock = buffer.add(times, "SCALAR")
    channels: list[dict[str, Any]] = []
    samplers: list[dict[str, Any]] = []
    for i, body in enumerate(run.system.bodies):
        if body.fixed:
            continue
        for path, values in (
            ("translation", buffer.add(position[:, i], "VEC3")),
            ("rotation", buffer.add(_xyzw(_steady(quaternion[:, i])), "VEC4")),
        ):
            target = {"node": i, "path": path}
            channels.append({"sampler": len(samplers), "target": target})
            samplers.append({"input": clock, "output": values, "interpolation": "LINEAR"})
    return {"name": "release", "channels": channels, "samplers": samplers}


def _sampled(run: Trajectory) -> tuple[Array, Array, Array]:
    """Times (k,) single precision, rising, with positions (k, n, 3) and quaternions (k, n, 4): the
    frames as stored, and more between them."""
    end = float(run.time[-1])
    between = np.setdiff1d(np.arange(1, int(end * RATE) + 1) / RATE, run.time)
    between = between[between < end]
    moments = [sample(run, float(t)) for t in between]
    order = np.argsort(np.concatenate([run.time, between]), kind="stable")
    times = np.concatenate([run.time, between])[order].astype(np.float32)
    for k in range(1, len(times)):
        if times[k] <= times[k - 1]:
            times[k] = np.nextafter(times[k - 1], np.float32(np.inf))
    position = np.concatenate([run.position, *(m.position[None] for m in moments)])[order]
    quaternion = np.concatenate([run.quaternion, *(m.quaternion[None] for m in moments)])[order]
    return times.astype(np.float64), position, quaternion


def _steady(quaternion: Array) -> Array:
    """The same turns with no change of sign from row to row, so that none goes the long way."""
    rows = np.sum(quaternion[1:] * quaternion[:-1], axis=1)
    signs = np.concatenate([[1.0], np.cumprod(np.where(rows < 0, -1.0, 1.0))])
    steady: Array = quaternion * signs[:, None]
    return steady


def _xyzw(quaternion: Array) -> Array:
    """Scalar last, as glTF has it."""
    return np.roll(quaternion, -1, axis=-1)


def _write(made: tuple[dict[str, Any], bytes], path: Path) -> None:
    document, binary = made
    text = json.dumps(document, separators=(",", ":"), allow_nan=False).encode()
    text += b" " * (-len(text) % 4)
    binary += b"\0" * (-len(binary) % 4)
    chunks = _chunk(b"JSON", text) + _chunk(b"BIN\0", binary)
    path.write_bytes(struct.pack("<4sII", b"glTF", 2, 12 + len(chunks)) + chunks)


def _chunk(kind: bytes, data: bytes) -> bytes:
    return struct.pack("<I4s", len(data), kind) + data
