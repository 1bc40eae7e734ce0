"""Edits of a scene's document: small named operations, each a pure function of plain data.

A document is what TOML reads to; none of these changes the one that it is given. What does not make
a whole scene is refused later, where the scene is built.
"""

from __future__ import annotations

import copy
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from snapsim.errors import InputError, label
from snapsim.numerics import rotations
from snapsim.page.pose import TypedPose, plain
from snapsim.scenario.joint import JOINT_TABLES
from snapsim.scenario.quantities import LENGTH, parse
from snapsim.scenario.shapes import SHAPE_TABLES
from snapsim.scenario.starter import new_scene

Document = dict[str, Any]

NEW = new_scene()
"""Where a scene begins that is built from nothing: there must be one part that can move."""

BODIES: dict[str, Document] = {
    "magnet": {
        "shape": {"kind": "box", "size": "60 x 40 x 20 mm"},
        "material": "NdFeB N45",
        "magnetised": "-z",
        "fixed": True,
    },
    "part": {
        "shape": {"kind": "cylinder", "diameter": "60 mm", "length": "12 mm"},
        "material": "low-carbon steel",
    },
    "table": {
        "shape": {"kind": "box", "size": "400 x 300 x 30 mm"},
        "material": "oak",
        "fixed": True,
    },
    "guard": {
        "shape": {"kind": "box", "size": "200 x 6 x 150 mm"},
        "material": "acrylic",
        "fixed": True,
    },
}

JOINTS = tuple(JOINT_TABLES)

KINDS = (*BODIES, "hand", *JOINTS)
"""What can be added."""


def body_of(document: Mapping[str, Any], name: str) -> Document:
    """Return a body's table; raises InputError."""
    for body in document.get("body", []):
        if body.get("name") == name:
            found: Document = body
            return found
    raise InputError(f'there is no body "{name}"', key="body")


def free_name(document: Mapping[str, Any], wanted: str) -> str:
    """Return a name that no body, joint or hand has: "part", "part 2", ..."""
    taken = {"world"} | {
        str(t.get("name")) for kind in ("body", "joint", "hand") for t in document.get(kind, [])
    }
    names = [wanted, *(f"{wanted} {n}" for n in range(2, len(taken) + 3))]
    return next(n for n in names if n not in taken)


def with_body(document: Document, kind: str, position: Sequence[float]) -> Document:
    """Return it with a new body of a kind at a position [mm]."""
    table = {"name": free_name(document, kind), **copy.deepcopy(BODIES[kind])}
    table["position"] = _mm(position)
    return _appended(document, "body", table)


def with_mesh(document: Document, file: str, unit: str, position: Sequence[float]) -> Document:
    """Return it with a part whose surface is a mesh file's, at a position [mm]."""
    table = copy.deepcopy(BODIES["part"])
    table |= {"name": free_name(document, file.rsplit(".", 1)[0])}
    table["shape"] = {"kind": "mesh", "file": file, "unit": unit}
    table["position"] = _mm(position)
    return _appended(document, "body", {"name": table.pop("name"), **table})


def resized(
    document: Document, name: str, shape: Document, centre: Sequence[float], shift: Sequence[float]
) -> Document:
    """Return it with a body of a shape, its `centre` [mm] moved by a `shift` [mm], and a hand or
    handle in the room that holds it there brought along."""
    if not any(shift):
        return _changed(document, name, lambda body: body | {"shape": shape})
    at = _mm([c + s for c, s in zip(centre, shift, strict=True)])
    found = _changed(document, name, lambda body: body | {"shape": shape, "position": at})
    if not any(_holds(j, name) for j in document.get("joint", [])):
        return found
    return found | {
        "joint": [_shifted(j, shift) if _holds(j, name) else j for j in document["joint"]]
    }


def _shifted(joint: Document, shift: Sequence[float]) -> Document:
    try:
        there = 1e3 * np.array(parse(joint["at"][1], LENGTH, 3)) + np.array(shift)
    except (KeyError, IndexError, ValueError):
        return joint  # told where the scene is built
    return joint | {"at": [joint["at"][0], _mm(there.tolist())]}


def with_joint(document: Document, kind: str, part: str, position: Sequence[float]) -> Document:
    """Return it with a part at `position` [mm] fastened to the surroundings."""
    x, y, z = position
    table: Document = {"name": free_name(document, kind), "kind": kind}
    table["between"] = [part, "world"]
    table["at"] = ["0, 0, 0 mm", _mm(position)]
    more: dict[str, Document] = {
        "string": {"at": ["0, 0, 0 mm", _mm((x, y, z + 100.0))], "length": "100 mm"},
        "hinge": {"axis": "y"},
        "slide": {"axis": "z"},
        "hold": {"until": "0.2 s", "force_limit": "200 N"},
    }
    return _appended(document, "joint", table | more.get(kind, _shown(kind, table)))


def _shown(kind: str, given: Document) -> Document:
    """What the example of a joint's table has besides what is given."""
    example: Any = JOINT_TABLES[kind].model_config["json_schema_extra"]
    return {k: v for k, v in example["examples"][0].items() if k not in given}


def with_hand(document: Document, body: str) -> Document:
    """Return it with a finger on the lower face of a body."""
    name = free_name(document, f"a finger on the {body}")
    return _appended(document, "hand", {"name": name, "body": body, "face": "-z", "gap": "25 mm"})


def with_hand_that_moved(
    document: Document,
    part: str,
    name: str,
    places: Sequence[tuple[float, Any, Any]],
    parted: float,
    limit: float,
) -> Document:
    """Return it with a hand that carried a part through `places` (time [s], position [m],
    quaternion) and let go at the time `parted` [s], nan where never; in place of what held it."""
    path = [
        {
            "time": f"{time:.6f} s",
            "position": _placed(position),
            "quaternion": ", ".join(f"{float(q):.12f}" for q in quaternion),
        }
        for time, position, quaternion in places[1:]
    ]
    hand: Document = {
        "name": free_name(document, name),
        "kind": "hold",
        "between": [part, "world"],
        "at": ["0, 0, 0 mm", _placed(places[0][1])],
        "force_limit": f"{limit:g} N",
        "path": path,
    }
    if parted == parted:
        hand["until"] = f"{max(parted, 1e-6):.6f} s"
    others = [j for j in document.get("joint", []) if not _carries(j, part)]
    return document | {"joint": [*others, hand]}


def _placed(position: Any) -> str:
    """A position [m] (3,) as the scene writes it."""
    return _mm([1e3 * float(c) for c in position])


def _carries(joint: Document, name: str) -> bool:
    return joint.get("kind") == "hold" and name in joint.get("between", [])


def duplicated(document: Document, name: str, position: Sequence[float]) -> Document:
    """Return it with a copy of a body at another position [mm], without what is fastened to it."""
    table = copy.deepcopy(body_of(document, name)) | {"position": _mm(position)}
    table["name"] = free_name(document, name)
    return _appended(document, "body", table)


def removed(document: Document, name: str) -> Document:
    """Return it without a body and what is fastened to it or marked on it; or without a joint or
    hand of that name. Raises InputError where there is none."""
    bodies = [b for b in document.get("body", []) if b.get("name") != name]
    gone = len(bodies) < len(document.get("body", []))
    joints = [
        j for j in document.get("joint", [])
        if j.get("name") != name and not (gone and name in j.get("between", []))
    ]  # fmt: skip
    hands = [
        h for h in document.get("hand", [])
        if h.get("name") != name and not (gone and h.get("body") == name)
    ]  # fmt: skip
    found = dict(document)
    for key, kept in (("body", bodies), ("joint", joints), ("hand", hands)):
        if key in document:
            found[key] = kept
            if not kept:
                del found[key]
    if found == document:
        raise InputError(f'there is no "{name}"', key="name")
    if "contact" in found and gone:
        found["contact"] = _without_pairs(found["contact"], name)
    return found


def _without_pairs(contact: Document, name: str) -> Document:
    pairs = [p for p in contact.get("pair", []) if name not in p.get("between", [])]
    kept = {k: v for k, v in contact.items() if k != "pair"}
    return kept | ({"pair": pairs} if pairs else {})


def locked(document: Document, name: str, fixed: bool) -> Document:
    """Return it with a body fixed, its speeds dropped, or free."""

    def turned(body: Document) -> Document:
        dropped = ("fixed", "velocity", "spin") if fixed else ("fixed",)
        kept = {k: v for k, v in body.items() if k not in dropped}
        return kept | ({"fixed": True} if fixed else {})

    return _changed(document, name, turned)


def reshaped(document: Document, name: str, kind: str) -> Document:
    """Return it with a body of another kind of shape, its sizes those of that kind's example."""
    if kind not in SHAPE_TABLES:
        raise InputError(f'"{kind}" is no shape; allowed: {", ".join(SHAPE_TABLES)}', key="shape")
    extra: Any = SHAPE_TABLES[kind].model_config["json_schema_extra"]
    shape = copy.deepcopy(extra["examples"][0])
    return _changed(document, name, lambda body: body | {"shape": shape})


def posed(document: Document, name: str, pose: TypedPose) -> Document:
    """Return it with a body brought to a pose, and a hand or handle in the room that holds it there
    brought along."""

    def brought(body: Document) -> Document:
        kept = {k: v for k, v in body.items() if k not in ("rotation", "quaternion")}
        turns = [
            {"axis": axis, "angle": f"{plain(angle)} deg"}
            for axis, angle in zip("xyz", pose.turns, strict=True)
            if angle
        ]
        kept["position"] = _mm(pose.position)
        return kept | ({"rotation": turns[0] if len(turns) == 1 else turns} if turns else {})

    found = _changed(document, name, brought)
    if not any(_holds(j, name) for j in document.get("joint", [])):
        return found
    return found | {
        "joint": [_carried(j, pose) if _holds(j, name) else j for j in document["joint"]]
    }


def _holds(joint: Document, name: str) -> bool:
    return joint.get("kind") == "hold" and joint.get("between") == [name, "world"]


def _carried(joint: Document, pose: TypedPose) -> Document:
    """A hold in the room, its two points in one place again."""
    try:
        own = np.array(parse(joint["at"][0], LENGTH, 3))
    except (KeyError, IndexError, ValueError):
        return joint  # told where the scene is built
    place = pose.place
    there = 1e3 * (place.position + rotations.rotate(place.quaternion, own))
    return joint | {"at": [joint["at"][0], _mm(there.tolist())]}


def changes_between(before: Mapping[str, Any], after: Mapping[str, Any]) -> list[str] | None:
    """Return the keys of `--set` whose values differ, None where the tables themselves do."""
    found: list[str] = []
    return found if _differ(before, after, "", found) else None


def _differ(before: Any, after: Any, key: str, found: list[str]) -> bool:
    """Gather what differs below a key; False where no `--set` could make it so."""
    if before == after:
        return True
    if isinstance(before, Mapping) and isinstance(after, Mapping):
        if any(k not in after for k in before):
            return False
        return all(
            _differ(before.get(k), v, f"{key}.{label(k)}".lstrip("."), found)
            for k, v in after.items()
        )
    if _named(before) and _named(after):
        names = [t["name"] for t in before]
        if names != [t["name"] for t in after]:
            return False
        return all(
            _differ(b, a, f"{key}.{label(n)}", found)
            for n, b, a in zip(names, before, after, strict=True)
        )
    found.append(key)
    return key.endswith(".rotation") or (not _tables(before) and not _tables(after))


def _tables(value: Any) -> bool:
    return isinstance(value, list) and any(isinstance(v, Mapping) for v in value)


def _named(value: Any) -> bool:
    return (
        isinstance(value, list)
        and bool(value)
        and all(isinstance(t, Mapping) and "name" in t for t in value)
    )


def _changed(document: Document, name: str, change: Any) -> Document:
    body_of(document, name)
    bodies = [change(b) if b.get("name") == name else b for b in document["body"]]
    return document | {"body": bodies}


def _appended(document: Document, key: str, table: Document) -> Document:
    return document | {key: [*document.get(key, []), table]}


def _mm(position: Sequence[float]) -> str:
    return f"{', '.join(plain(float(c)) for c in position)} mm"
