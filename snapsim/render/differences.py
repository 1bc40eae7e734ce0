"""What differs between runs that are shown abreast, in their authors' own keys and values.

A scene as read is a tree of tables; a list of tables is told apart by their names. The keys of all
scenes, changed as the command line changed them, are laid side by side; those that differ are told.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping, Sequence

from snapsim.simulation.system import System

MOST = 2
"""Differences that a heading has room for."""
SILENT = {"title", "note"}
COMPONENTS = (".x", ".y", ".z")


def differences(systems: Sequence[System], most: int = MOST) -> list[str]:
    """Return one heading a run that says what sets it apart, at most `most` keys, those with the
    shortest values first; empty words where nothing does."""
    trees = [_flat(system) for system in systems]
    for key in {key for tree in trees for key in tree if key[-2:] in COMPONENTS}:
        for tree in trees:
            told = tree.get(key) or _component(tree.get(key[:-2]), key[-1])
            if told is not None:
                tree[key] = told
    keys = list(dict.fromkeys(key for tree in trees for key in tree if key not in SILENT))
    apart = [k for k in keys if len({tree.get(k) for tree in trees}) > 1]
    apart.sort(key=lambda key: max(len(tree.get(key) or "") for tree in trees))
    more = f" and {len(apart) - most} more" if len(apart) > most > 1 else ""
    return [
        ", ".join(_said(key, tree.get(key)) for key in apart[:most]) + more if apart else ""
        for tree in trees
    ]


def _said(key: str, value: str | None) -> str:
    words = key.removeprefix("body.").replace(".", " ").replace("_", " ")
    return f"{words} {value}" if value is not None else f"{words} not given"


def _component(text: str | None, axis: str) -> str | None:
    """One number of a text like "0, 0, 20 mm", with its unit."""
    found = re.fullmatch(r"([^,]+),([^,]+),\s*(\S+)\s*(.*)", text or "")
    if found is None:
        return None
    number = found["xyz".index(axis) + 1].strip()
    return f"{number} {found[4]}".strip()


def _flat(system: System) -> dict[str, str]:
    """Values as text by dotted key, after the changes that the command line made."""
    try:
        found = dict(_leaves(tomllib.loads(system.source), ""))
    except tomllib.TOMLDecodeError:  # a system made in code may bring no scene of its own
        found = {}
    for change in system.extra.get("changes", "").splitlines():
        key, _, value = change.partition("=")
        found[key.strip()] = value.strip().strip('"')
    return found


def _leaves(node: object, path: str) -> list[tuple[str, str]]:
    if isinstance(node, Mapping):
        items = [(str(k), v) for k, v in node.items() if not (path and k == "name")]
    elif isinstance(node, list) and node and all(isinstance(v, Mapping) for v in node):
        items = [(str(v.get("name", k)), v) for k, v in enumerate(node)]
    else:
        text = ", ".join(map(str, node)) if isinstance(node, list) else str(node)
        return [(path, text)]
    return [
        leaf for key, value in items for leaf in _leaves(value, f"{path}.{key}" if path else key)
    ]
