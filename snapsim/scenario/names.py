"""Names that must be unique, and names that must exist."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from snapsim.errors import InputError, label, suggest
from snapsim.parts.materials import MATERIALS
from snapsim.scenario.joint import WORLD
from snapsim.scenario.scene import SceneDescription


def check_names(scene: SceneDescription, file: str) -> None:
    """Raise InputError for a name used twice, or one that nothing has."""
    bodies = [b.name for b in scene.body]
    _once("body", bodies, file)
    _once("material", [m.name for m in scene.material], file)
    _once("hand", [h.name for h in scene.hand], file)
    _once("joint", [j.name for j in scene.joint if j.name], file)
    if WORLD in bodies:
        raise InputError(
            f'"{WORLD}" means the surroundings; choose another name',
            file=file,
            key=f"body.{WORLD}.name",
        )
    materials = list(dict.fromkeys([*(m.name for m in scene.material), *MATERIALS]))
    for body in scene.body:
        _known(body.material, materials, f"body.{label(body.name)}.material", file)
    _check_pairs(scene, bodies, file)
    for number, joint in enumerate(scene.joint, start=1):
        key = f"joint.{label(joint.name)}" if joint.name else f"joint[{number}]"
        _two_ends(joint.between, bodies, f"{key}.between", file)
    for hand in scene.hand:
        if hand.body is not None:
            _known(hand.body, bodies, f"hand.{label(hand.name)}.body", file)


def _check_pairs(scene: SceneDescription, bodies: list[str], file: str) -> None:
    """The contact's pairs name bodies, or materials in use; two different bodies."""
    in_use = list(dict.fromkeys(b.material for b in scene.body))
    for number, pair in enumerate(scene.contact.pair, start=1):
        key = f"contact.pair[{number}].between"
        for name in pair.between:
            _known(name, [*bodies, *(m for m in in_use if m not in bodies)], key, file)
        if pair.between[0] == pair.between[1] and pair.between[0] in bodies:
            raise InputError(
                f'names "{pair.between[0]}" twice; name two bodies', file=file, key=key
            )


def _two_ends(ends: Sequence[str], bodies: list[str], key: str, file: str) -> None:
    for name in ends:
        _known(name, [*bodies, WORLD], key, file)
    if ends[0] == ends[1]:
        raise InputError(f'names "{ends[0]}" twice; name two bodies', file=file, key=key)


def _once(family: str, names: Iterable[str], file: str) -> None:
    seen: set[str] = set()
    for name in names:
        if name in seen:
            raise InputError(
                f'the name "{name}" is used twice; every {family} needs a name of its own',
                file=file,
                key=f"{family}.{label(name)}.name",
            )
        seen.add(name)


def _known(name: str, known: list[str], key: str, file: str) -> None:
    if name not in known:
        raise InputError(f'"{name}" is not known{suggest(name, known)}', file=file, key=key)
