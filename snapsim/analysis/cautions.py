"""What every result says beside its numbers."""

from __future__ import annotations

CAUTIONS = (
    "Strong magnets crush, cut and shatter: keep hands, faces and pacemakers away.",
    "Results vary with material, coating, surface and the way a part is let go; nothing here has"
    " been measured on your parts.",
    "Local rules and qualified people decide. No result of this program is a permission.",
)
"""Shown under each table, in this order."""
