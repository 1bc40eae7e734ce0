"""How long computations say how far they are."""

from __future__ import annotations

from collections.abc import Callable

Progress = Callable[[str, int, int], None]
"""Called with what is being done, how much of it is done, and of how much."""
