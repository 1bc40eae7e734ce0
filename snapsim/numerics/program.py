"""Which program this is: what is kept of computed numbers is good for the same program only."""

from __future__ import annotations

import hashlib
from importlib.metadata import version
from pathlib import Path
from typing import Final

NOT_COMPUTING: Final = frozenset({"cli", "render", "page"})
"""Folders of the program that no computed number depends on."""


def program_identity() -> str:
    """Return a text that changes when the program's numbers may: its code and its libraries.

    Read from the files, so it may be newer than what runs: ask before what is kept is computed,
    and again after.
    """
    package = Path(__file__).parents[1]
    code = hashlib.sha256()
    for path in sorted(package.rglob("*.py")):
        inside = path.relative_to(package)
        if inside.parts[0] not in NOT_COMPUTING:
            code.update(str(inside).encode() + b"\0" + path.read_bytes())
    libraries = " ".join(f"{p} {version(p)}" for p in ("numpy", "scipy", "numba"))
    return f"snapsim {version('snapsim')} ({code.hexdigest()[:16]}), {libraries}"
