"""Spoilt triangulated surfaces in the three formats, binary and as text, and spoilt solids."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import trimesh

from tests.fuzz.spoiling import Random, spoil_bytes

FORMATS = {"stl": ("stl", "stl_ascii"), "ply": ("ply", "ply"), "obj": ("obj", "obj")}

DRAWING = Path(__file__).parents[1] / "scenario" / "drawings" / "plate.step"


def spoilt_mesh(kind: str, random: Random) -> bytes:
    """A small surface, wrong in its corners, its triangles, its text or its bytes."""
    corners, faces = _surface(random)
    if random.random() < 0.6:
        corners, faces = _spoil(corners, faces, random)
    made = trimesh.Trimesh(corners, faces, process=False, validate=False)
    form = FORMATS[kind][int(random.integers(2))]
    if kind == "ply":
        content = trimesh.exchange.ply.export_ply(
            made, encoding=("binary", "ascii")[int(random.integers(2))]
        )
    else:
        found = made.export(file_type=form)
        content = found.encode() if isinstance(found, str) else bytes(found)
    way = random.random()
    if way < 0.25:
        return _other_numbers(content, random)
    return spoil_bytes(content, random) if way < 0.75 else content


def spoilt_solid(random: Random) -> bytes:
    """A STEP file, wrong in its numbers (of entities among them), its bytes or its end."""
    content = DRAWING.read_bytes()
    return (_other_numbers if random.random() < 0.5 else spoil_bytes)(content, random)


def _surface(random: Random) -> tuple[np.ndarray, np.ndarray]:
    size = 10.0 ** random.integers(-3, 3)
    match int(random.integers(4)):
        case 0:
            found = trimesh.creation.box((size, 2 * size, size))
        case 1:
            found = trimesh.creation.icosphere(1, size)
        case 2:
            found = trimesh.creation.annulus(size, 2 * size, size, sections=12)
        case _:
            found = trimesh.creation.cylinder(size, 2 * size, sections=9)
    return np.array(found.vertices), np.array(found.faces)


def _spoil(corners: np.ndarray, faces: np.ndarray, random: Random) -> tuple[np.ndarray, np.ndarray]:
    at, face = int(random.integers(len(corners))), int(random.integers(len(faces)))
    match int(random.integers(8)):
        case 0:
            corners[at, int(random.integers(3))] = [np.nan, np.inf, 1e300, -1e30, 1e-300][
                int(random.integers(5))
            ]
        case 1:
            faces = np.delete(faces, face, axis=0)
        case 2:
            faces[face] = faces[face, ::-1]
        case 3:
            faces = np.concatenate([faces, faces[face : face + 1]])
        case 4:
            corners[at] *= 10.0 ** random.integers(-8, 8)
        case 5:
            corners = corners + random.normal(0, np.ptp(corners) / 3, corners.shape)
        case 6:
            corners[:, int(random.integers(3))] *= 10.0 ** -int(random.integers(3, 12))
        case _:
            corners[at] = corners[int(random.integers(len(corners)))]
    return corners, faces


def _other_numbers(content: bytes, random: Random) -> bytes:
    """Numbers of a head or of a text replaced."""
    for _ in range(int(random.integers(1, 4))):
        digits = [i for i, c in enumerate(content[:20_000]) if 48 <= c <= 57]
        if not digits:
            break
        at = digits[int(random.integers(len(digits)))]
        odd = [b"-", b"9999999999", b"nan", b"1e400", b"", b"/", b" ", b"-1", b"4294967295"]
        content = content[:at] + odd[int(random.integers(len(odd)))] + content[at + 1 :]
    return content
