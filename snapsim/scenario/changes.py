"""`--set key=value`: one key of the scene changed for a what-if, before it is checked.

A key is a path: body.blank.rotation.angle, contact.pair[1].friction. Bodies, joints, materials and
hands are addressed by name or by number from 1; a name with a dot or a bracket stands in quotes.
One of the three numbers of a text like "0, 0, 20 mm" is its x, y or z: body.magnet.position.z.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from typing import Any

from snapsim.errors import InputError, label, storable, suggest
from snapsim.scenario.explain import name_in
from snapsim.scenario.quantities import with_component
from snapsim.scenario.text_file import NotToml, toml_document

_PART = re.compile(r'\.?(?:"([^"]+)"|([^."\[\]]+))|\[(\d+)\]')

Step = str | int

COMPONENTS = ("x", "y", "z")
TRIPLES = {"position": None, "velocity": None, "spin": None, "gravity": "0, 0, -9.80665 m/s^2"}
"""Keys whose value is one text of three numbers along the world's axes, and what stands there when
none is given; None: zeros."""


def apply_changes(document: dict[str, Any], changes: Iterable[str], file: str) -> dict[str, Any]:
    """Return a copy of `document` with each "key=value" applied; raises InputError."""
    changed = {key: _copied(value) for key, value in document.items()}
    for change in changes:
        key, value = read_change(change, file)
        _assign(changed, _steps(key, file), value, f"--set {key}", file)
    return changed


def _copied(value: Any) -> Any:
    """A copy of what TOML gives, whose tables and lists alone can change: ten times as quick as
    `copy.deepcopy`, and a sweep makes some thousands."""
    if isinstance(value, dict):
        return {key: _copied(inner) for key, inner in value.items()}
    return [_copied(inner) for inner in value] if isinstance(value, list) else value


def read_change(change: str, file: str) -> tuple[str, Any]:
    """Return the key and the value of "key=value"; raises InputError."""
    key, sign, value = change.partition("=")
    key = key.strip()
    if storable(change) != change:
        raise InputError("holds bytes that are no text in UTF-8", file=file, key="--set")
    if not sign or not key:
        raise InputError(
            f'"{change}" is no change; write key=value, like body.blank.rotation.angle="55 deg"',
            file=file,
            key="--set",
        )
    return key, _value(value.strip(), f"{file}: --set {key}")


def _steps(key: str, file: str) -> list[Step]:
    steps: list[Step] = []
    at = 0
    while at < len(key):
        match = _PART.match(key, at)
        if match is None or match.end() == at:
            raise InputError(
                f'"{key}" is no key; write names parted by dots, like body.blank.position',
                file=file,
                key="--set",
            )
        quoted, bare, number = match.groups()
        steps.append(int(number) if number else (quoted or bare).strip())
        at = match.end()
    return steps


def _value(text: str, file: str) -> Any:
    """A TOML value, or else plain text: shells eat the quotes round "55 deg"."""
    try:
        document = toml_document(f"value = {text}", file)
    except NotToml:
        return text
    return document["value"] if list(document) == ["value"] else text


def _assign(document: dict[str, Any], steps: list[Step], value: Any, key: str, file: str) -> None:
    here: Any = document
    for i, step in enumerate(steps[:-1]):
        if steps[i + 1] in COMPONENTS and _is_triple(here, step):
            _assign_component(here, steps[i:], value, key, file)
            return
        here = _enter(here, step, steps[i + 1], key, file)
    last = steps[-1]
    if isinstance(here, dict) and isinstance(last, str):
        if isinstance(here.get(last), list) and not isinstance(value, list) and last != "rotation":
            raise InputError(
                f"{last} is a list; name one of {_names(here[last])}", file=file, key=key
            )
        here[last] = value
    elif isinstance(here, list):
        here[_position(here, last, key, file)] = value
    else:
        raise _no_table(here, last, key, file)


def _is_triple(here: Any, step: Step) -> bool:
    """Whether a step leads to one text of three numbers, given or left out."""
    return isinstance(here, dict) and step in TRIPLES and isinstance(here.get(step, ""), str)


def _assign_component(here: Any, steps: list[Step], value: Any, key: str, file: str) -> None:
    if len(steps) > 2:
        raise _no_table(here.get(steps[0]), steps[2], key, file)
    try:
        here[steps[0]] = with_component(
            here.get(steps[0], TRIPLES[str(steps[0])]), COMPONENTS.index(str(steps[1])), str(value)
        )
    except ValueError as error:
        raise InputError(str(error), file=file, key=key) from None


def _enter(here: Any, step: Step, following: Step, key: str, file: str) -> Any:
    """Go one step down; a table that is not there yet is made, a named entry must exist."""
    if isinstance(here, list):
        return here[_position(here, step, key, file)]
    if not isinstance(here, dict) or isinstance(step, int):
        raise _no_table(here, step, key, file)
    if step not in here:
        if step in ("body", "joint", "hand", "material") or isinstance(following, int):
            raise InputError(f'there is no "{step}" in the scene', file=file, key=key)
        here[step] = {}
    return here[step]


def _position(entries: list[Any], step: Step, key: str, file: str) -> int:
    """Index of the entry with this name, or this number from 1."""
    if isinstance(step, int):
        if 1 <= step <= len(entries):
            return step - 1
        raise InputError(f"number {step} is not there; 1 to {len(entries)} are", file=file, key=key)
    for i, entry in enumerate(entries):
        if isinstance(entry, dict) and name_in(entry) == step:
            return i
    names = [n for e in entries if isinstance(e, dict) and (n := name_in(e))]
    raise InputError(f'"{step}" is not there{suggest(step, names)}', file=file, key=key)


def _names(entries: list[Any]) -> str:
    found = [name_in(e) if isinstance(e, dict) else None for e in entries]
    return ", ".join(label(n) if n else f"[{i}]" for i, n in enumerate(found, start=1)) or "none"


def _no_table(here: Any, step: Step, key: str, file: str) -> InputError:
    there = ", ".join(here) if isinstance(here, dict) else f"the value {here!r}"
    return InputError(f'there is no "{step}" to set here; there is: {there}', file=file, key=key)


def value_at(document: dict[str, Any], key: str, file: str) -> Any:
    """Return what the document holds at a key, None where it holds nothing; raises InputError."""
    here: Any = document
    for step in _steps(key, file):
        if isinstance(here, list):
            here = here[_position(here, step, key, file)]
        elif isinstance(here, dict):
            here = here.get(step) if isinstance(step, str) else None
        else:
            return None
    return here
