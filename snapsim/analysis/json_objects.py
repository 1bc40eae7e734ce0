"""The names and versions of the JSON objects that commands print and write.

Every object begins with `schema`, what it is, and `version`. A version rises when a key goes or
changes its meaning; keys may be added to it. Programs that read an object look at both first.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

VERSIONS: Final[Mapping[str, int]] = {
    "calibrate": 1,
    "check": 1,
    "examples": 1,
    "clip": 1,
    "clip-passes": 1,
    "error": 1,
    "export": 1,
    "guide": 1,
    "fate": 1,
    "force": 1,
    "force-along": 1,
    "force-map": 1,
    "margin": 2,
    "margin-against": 2,
    "margin-find": 1,
    "margin-together": 1,
    "match": 1,
    "match-make": 1,
    "material": 1,
    "materials": 1,
    "new": 1,
    "page": 1,
    "poses": 1,
    "poses-together": 1,
    "prepare": 1,
    "rank": 1,
    "release": 1,
    "still": 1,
    "sweep": 1,
}
"""What there is: mostly the command's name."""


def labelled(what: str, result: Mapping[str, Any]) -> dict[str, Any]:
    """Return a result with `schema` and `version` before its own keys."""
    return {"schema": f"snapsim {what}", "version": VERSIONS[what], **result}
