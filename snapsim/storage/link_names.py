"""Any printable name as the name of an HDF5 link, and back: "/" parts groups, "." means here."""

from __future__ import annotations


def escape(name: str) -> str:
    """Return a link name: "%" and "/" as %25 and %2F, a name of dots alone with its dots as %2E."""
    safe = name.replace("%", "%25").replace("/", "%2F")
    return safe if safe.strip(".") else safe.replace(".", "%2E")
