"""Compiled functions whose cache on disk is dropped when any module they may call has changed.

numba stamps a cached function with the time and size of its own source file only; a function that
calls compiled functions of other files would keep their old machine code after those were edited,
without a word. `compiled` stamps it with all sources of its own folder, of those below it and of
`numerics` instead; a compiled function calls nothing compiled from elsewhere.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Any, TypeVar, cast

from numba import njit
from numba.core.options import DefaultOptions

F = TypeVar("F", bound=Callable[..., object])


_UNCOUNTED: dict[str, Any] = {"_nrt": False} if hasattr(DefaultOptions, "_nrt") else {}
"""numba's option "no runtime": not in its manual, so done without where it should be gone."""


@cache
def _stamp(folder: Path) -> tuple[tuple[int, int], ...]:
    """Time [ns] and size of every source file in and below `folder`, and beside this module."""
    sources = sorted({*folder.rglob("*.py"), *Path(__file__).parent.glob("*.py")})
    return tuple((s.st_mtime_ns, s.st_size) for s in (path.stat() for path in sources))


def part_of_caller(function: F) -> F:
    """Compile as if written out inside the one compiled function that calls it.

    Called, it would be a library of its own, and every function above it optimises all libraries
    below it once more: seconds for each level of a deep chain.
    """
    return cast(F, njit(inline="always", error_model="numpy")(function))


def compiled(function: F) -> F:
    """Compile with numba, cached on disk; division by zero gives inf or nan as in numpy."""
    return _stamped(function, njit(cache=True, error_model="numpy")(function))


def bare(function: F) -> F:
    """Compile as `compiled` does, without counting references to arrays.

    Counted, an array argument costs two locked instructions a call, more than the whole of a small
    function. It may make no array, return none, assign none to a slice (`copying.copy` serves) and
    call only functions that are bare as well; numba refuses to compile anything else.
    """
    return _stamped(function, njit(cache=True, error_model="numpy", **_UNCOUNTED)(function))


def _stamped(function: F, kernel: object) -> F:
    index = getattr(getattr(kernel, "_cache", None), "_cache_file", None)
    if hasattr(index, "_source_stamp"):
        folder = Path(function.__code__.co_filename).parent
        setattr(index, "_source_stamp", _stamp(folder))  # noqa: B010
    return cast(F, kernel)
