"""A scene written in Python: each call makes what a table of the scene file would, and says at
once, in one line, what is wrong with it.

    scene = Scene(bodies=[Body("magnet", Box("120 x 80 x 40 mm"), "NdFeB N45", "0, 0, 20 mm",
                               magnetised="-z", fixed=True), ...])

Quantities are texts with a unit, as in the file, or quantities of the pint library. Keys, units and
defaults are those of the scene file; the scene can be written out as one (`System.source`).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from pydantic import BaseModel, ValidationError

from snapsim.errors import InputError
from snapsim.scenario.body import BodyDescription
from snapsim.scenario.contact import ContactDescription, PairDescription
from snapsim.scenario.explain import input_error
from snapsim.scenario.hand import HandDescription
from snapsim.scenario.joint import JOINT_TABLES, Waypoint
from snapsim.scenario.loading import scene_from_text
from snapsim.scenario.material import MaterialDescription
from snapsim.scenario.rotation import TurnDescription
from snapsim.scenario.shapes import SHAPE_TABLES, CompoundMember
from snapsim.scenario.toml_text import listed
from snapsim.simulation.system import System

IN_CODE = "scene in code"
"""What errors call the file that there is not."""


@dataclass(frozen=True)
class Written:
    """One table of a scene, checked: `what` it is ("Box") and its keys as a file would have them.

    Two are equal where all their keys are.
    """

    what: str
    table: Mapping[str, Any]

    def __repr__(self) -> str:
        keys = ", ".join(f"{k}={v!r}" for k, v in self.table.items() if k != "kind")
        return f"{self.what}({keys})"

    def __hash__(self) -> int:
        return hash(repr(self))


Given = object
"""A text with a unit, a number where the key has none, or a quantity of pint."""


def Scene(
    bodies: Sequence[Written],
    title: str = "a scene in code",
    *,
    note: str = "",
    joints: Sequence[Written] = (),
    hands: Sequence[Written] = (),
    materials: Sequence[Written] = (),
    contact: Written | None = None,
    gravity: Given | None = None,
    duration: Given | None = None,
    detail: str | None = None,
    tolerance: float | None = None,
    recoil: bool | None = None,
    eddy_currents: bool | None = None,
) -> System:
    """Return the scene ready for every command; raises InputError naming key and what is allowed.

    `duration`, `detail`, `tolerance`, `recoil` and `eddy_currents` are the keys of the file's
    [run].
    """
    run = _plain(
        {
            "duration": duration,
            "detail": detail,
            "tolerance": tolerance,
            "recoil": recoil,
            "eddy_currents": eddy_currents,
        }
    )
    lists = {"body": bodies, "joint": joints, "hand": hands, "material": materials}
    head = _plain({"title": title, "note": note or None, "gravity": gravity})
    tables = {"contact": contact.table if contact else {}, "run": run}
    parts = {key: [_part(key, entry) for entry in entries] for key, entries in lists.items()}
    document = {**head, **{key: there for key, there in (tables | parts).items() if there}}
    return scene_from_text(listed(document), IN_CODE)


def Body(
    name: str,
    shape: Written,
    material: str,
    position: Given,
    *,
    magnetised: str | None = None,
    turns: float | None = None,
    current: Given | Sequence[Sequence[str]] | None = None,
    switch_off: Given | None = None,
    rotation: Written | Sequence[Written] | None = None,
    quaternion: str | None = None,
    velocity: Given | None = None,
    spin: Given | None = None,
    fixed: bool = False,
    edge_radius: Given | None = None,
) -> Written:
    """A body: its centre of mass at `position`, turned by one `Turn` or several in order.

    A ring or a frame with `turns` and `current` is a coil.
    """
    keys = dict(locals())
    return _checked("Body", BodyDescription, keys | {"fixed": fixed or None})


def Turn(axis: str, angle: Given) -> Written:
    """A turn by `angle` about an axis of the world, "y" or "0.1, 0, 1"."""
    return _checked("Turn", TurnDescription, dict(locals()))


def Box(size: Given) -> Written:
    """A block, `size` like "120 x 80 x 40 mm"."""
    return _shape("Box", "box", dict(locals()))


def Cylinder(diameter: Given, length: Given) -> Written:
    """A solid cylinder, disc or rod, its axis along body z."""
    return _shape("Cylinder", "cylinder", dict(locals()))


def Ring(outer_diameter: Given, inner_diameter: Given, length: Given) -> Written:
    """A ring, washer or tube, its axis along body z."""
    return _shape("Ring", "ring", dict(locals()))


def Frame(window: Given, width: Given, length: Given) -> Written:
    """A rectangular frame of four bars round a window like "60 x 30 mm", body z through it."""
    return _shape("Frame", "frame", dict(locals()))


def Sphere(diameter: Given) -> Written:
    """A ball."""
    return _shape("Sphere", "sphere", dict(locals()))


def HexNut(across_flats: Given, bore: Given, length: Given) -> Written:
    """A plain hexagonal nut, its bore along body z."""
    return _shape("HexNut", "hex_nut", dict(locals()))


def Prism(points: Sequence[Given], length: Given) -> Written:
    """An outline of corners in order, drawn out along body z."""
    return _shape("Prism", "prism", dict(locals()))


def Mesh(
    file: str | None = None,
    unit: str | None = None,
    *,
    corners: Sequence[Given] | None = None,
    triangles: Sequence[Sequence[int]] | None = None,
) -> Written:
    """A closed surface: an STL, OBJ or PLY `file` with the unit of its numbers, or written out."""
    return _shape("Mesh", "mesh", dict(locals()))


def Member(
    shape: Written,
    position: Given | None = None,
    rotation: Written | Sequence[Written] | None = None,
    quaternion: str | None = None,
) -> Written:
    """A piece of a compound, in the compound's frame."""
    return _checked("Member", CompoundMember, dict(locals()))


def Compound(members: Sequence[Written]) -> Written:
    """Pieces rigidly joined: they touch and do not overlap."""
    return _shape("Compound", "compound", dict(locals()))


def Joint(kind: str, between: tuple[str, str], at: Sequence[Given], **more: object) -> Written:
    """A joint: `kind` "string", "hinge", "slide", "ball" or "hold", `between` two bodies or one and
    "world", `at` a point on each; `more` are the keys of its kind."""
    if kind not in JOINT_TABLES:
        allowed = ", ".join(JOINT_TABLES)
        raise InputError(f'"{kind}" is no kind of joint; allowed: {allowed}', key="Joint")
    keys = {"kind": kind, "between": between, "at": at} | more
    return _checked("Joint", JOINT_TABLES[kind], keys)


def Stop(time: Given, position: Given, rotation: Written | None = None) -> Written:
    """Where a hold has carried its part at a time, in the other body's frame: `Joint(path=...)`."""
    return _checked("Stop", Waypoint, dict(locals()))


def Finger(
    name: str,
    body: str | None = None,
    face: str | None = None,
    point: Given | None = None,
    gap: Given | None = None,
) -> Written:
    """A place where a finger or hand could be, the file's [[hand]]; 25 mm unless a gap is given."""
    return _checked("Finger", HandDescription, dict(locals()))


def Material(name: str, density: Given, **values: object) -> Written:
    """A material of one's own, `values` the keys of the file's [[material]]."""
    return _checked("Material", MaterialDescription, {"name": name, "density": density} | values)


def Contact(
    restitution: float | str | None = None,
    friction: float | None = None,
    air_gap: Given | None = None,
    yield_speed: Given | None = None,
    pair: Sequence[Written] = (),
) -> Written:
    """What happens where bodies touch, and the pairs for which it is otherwise."""
    keys = dict(locals())
    return _checked("Contact", ContactDescription, keys | {"pair": pair or None})


def Pair(
    between: tuple[str, str],
    restitution: float | str | None = None,
    friction: float | None = None,
    air_gap: Given | None = None,
    yield_speed: Given | None = None,
) -> Written:
    """Two bodies or materials for which contact is otherwise."""
    return _checked("Pair", PairDescription, dict(locals()))


def _shape(what: str, kind: str, keys: dict[str, Any]) -> Written:
    return _checked(what, SHAPE_TABLES[kind], {"kind": kind} | keys)


def _checked(what: str, model: type[BaseModel], keys: Mapping[str, Any]) -> Written:
    """Return a table that its model takes; raises InputError."""
    table = _plain(keys)
    try:
        model.model_validate(table)
    except ValidationError as error:
        raise input_error(error, table, f"{IN_CODE}: {what}", model) from None
    return Written(what, table)


def _part(key: str, entry: object) -> Mapping[str, Any]:
    if not isinstance(entry, Written):
        made = {"body": "Body(...)", "joint": "Joint(...)", "hand": "Finger(...)"}
        wanted = made.get(key, "Material(...)")
        raise InputError(f"{entry!r:.60} is none; write snapsim.{wanted}", file=IN_CODE, key=key)
    return entry.table


def _plain(keys: Mapping[str, Any]) -> dict[str, Any]:
    """Keys as a file has them; what is None is left out."""
    return {key: _value(value) for key, value in keys.items() if value is not None}


def _value(value: Any) -> Any:
    if isinstance(value, Written):
        return dict(value.table)
    if hasattr(value, "magnitude") and hasattr(value, "units"):
        numbers = value.magnitude
        listed = numbers.tolist() if hasattr(numbers, "tolist") else numbers
        row = listed if isinstance(listed, list) else [listed]
        return f"{', '.join(repr(float(n)) for n in row)} {value.units}".strip()
    if isinstance(value, list | tuple):
        return [_value(entry) for entry in value]
    return value
