"""The one way to compile: four decorators, and machine code kept on disk by content.

    compiled         called from Python, or from other kernels
    bare             makes no array: not counting references, calls are twice as fast
    part_of_caller   written out inside the kernels that call it
    summing          its sums may be taken in whatever order suits the machine

A file of machine code is found by the hash of all that went into it (`kernel_content`), the
processor and the compiler: after an edit, a pull or an upgrade it isn't found, and two checkouts of
equal content share it. It begins with a checksum; one that is damaged is compiled anew. Nothing is
kept in the package's own folders.

numba's own cache looks at the file of the kernel alone, not at those of the kernels it calls. Its
hook for other folders (cache locators) is asked before the kernel's module is read to the end,
hence before its callees are known; so here numba's dispatcher is given another cache, an object of
two methods. Where numba has no place for one any more, kernels work without.
"""

from __future__ import annotations

import hashlib
import pickle
import sys
from collections.abc import Callable
from contextlib import suppress
from functools import cache
from pathlib import Path
from typing import Any, Final, TypeVar, cast

import llvmlite
import numba
import numpy as np
from llvmlite import binding
from numba import njit
from numba.core import config
from numba.core.options import DefaultOptions
from numba.core.runtime.nrt import rtsys

from snapsim.numerics.kept_files import kept_folder, make_room, read_sealed, write_sealed
from snapsim.numerics.kernel_content import UnknownContent, content_hash

F = TypeVar("F", bound=Callable[..., object])

SUFFIX: Final = ".kernel"

LARGEST_TOTAL: Final = 500_000_000
"""Bytes that all compiled files may take: some ten versions of the program."""

UNUSED_DAYS: Final = 60.0
"""Days after which a compiled file that nobody used is deleted."""

_rebuild: Callable[..., Any] = numba.core.compiler.CompileResult._rebuild
_dumps: Callable[..., bytes] = numba.core.serialize.dumps

_UNCOUNTED: dict[str, Any] = {"_nrt": False} if hasattr(DefaultOptions, "_nrt") else {}
"""numba's option "no runtime": not in its manual, so done without where it should be gone."""


def compiled(function: F) -> F:
    """Compile with numba; division by zero gives inf or nan as in numpy."""
    return _kept(function)


def bare(function: F) -> F:
    """Compile as `compiled` does, without counting references to arrays.

    Counted, an array argument costs two locked instructions a call, more than the whole of a small
    function. It may make no array, return none, assign none to a slice (`copying.copy` serves) and
    call only functions that are bare as well; numba refuses to compile anything else.
    """
    return _kept(function, **_UNCOUNTED)


def part_of_caller(function: F) -> F:
    """Compile as if written out inside the compiled functions that call it.

    Called, it would be a library of its own, and every function above it optimises all libraries
    below it once more: seconds for each level of a deep chain.
    """
    return _kept(function, inline="always")


def summing(function: F) -> F:
    """Compile as `compiled` does; sums may be reordered, products and sums fused."""
    return _kept(function, fastmath={"reassoc", "contract", "nsz"})


def summing_quotients(function: F) -> F:
    """Compile as `summing` does; a quotient may become a product with the reciprocal too."""
    return _kept(function, fastmath={"reassoc", "contract", "nsz", "arcp"})


def _kept(function: F, **options: Any) -> F:
    kernel = njit(error_model="numpy", **options)(function)
    if hasattr(kernel, "_cache"):  # not where numba is told to leave everything uncompiled
        kernel._cache = _MachineCode(kernel)
    return cast(F, kernel)


class _MachineCode:
    """What numba's dispatcher asks for machine code before it compiles, and hands it to after."""

    def __init__(self, kernel: Any) -> None:
        self._kernel = kernel

    @property
    def cache_path(self) -> str:
        """The folder, for numba's statistics."""
        return str(kernel_folder())

    def load_overload(self, signature: Any, target: Any) -> Any:
        """Return the compiled function of these argument types; None where none is kept whole.

        numba's own cache first loads all that numba can compile (0.3 s, SciPy's linear algebra
        too); what is compiled already needs its counts of references alone. A kernel that is not
        found is compiled, and the compiler loads the rest itself.
        """
        path = self._path(signature, target.codegen())
        kept = None if path is None else read_sealed(path)
        if path is None or kept is None:
            return None
        rtsys.initialize(target)
        try:
            return _rebuild(target, *pickle.loads(kept))
        except Exception:  # whatever a foreign file may raise: it is compiled anew
            with suppress(OSError):
                path.unlink()
            return None

    def save_overload(self, signature: Any, result: Any) -> None:
        """Keep a compiled function, where it can be kept."""
        path = self._path(signature, result.codegen)
        if path is None or result.lifted or result.library.has_dynamic_globals:
            return
        held = _dumps(result._reduce())
        with suppress(OSError):
            write_sealed(path, held)
            _make_room_once()

    def flush(self) -> None:
        """Nothing to do: what has changed is not found."""

    def enable(self) -> None:
        """Nothing to do: it always is."""

    def disable(self) -> None:
        """Nothing to do: nobody asks for it."""

    def _path(self, signature: Any, codegen: Any) -> Path | None:
        folder, python = kernel_folder(), self._kernel.py_func
        if folder is None:
            return None
        try:
            content = content_hash(self._kernel, signature)
        except UnknownContent:
            return None
        key = hashlib.sha256(repr((toolchain(), codegen.magic_tuple(), content)).encode())
        return folder / f"{python.__module__}.{python.__qualname__}-{key.hexdigest()[:40]}{SUFFIX}"


@cache
def kernel_folder() -> Path | None:
    """The folder of the compiled files, the same for all of a process; None where there is none."""
    return kept_folder("kernels")


@cache
def toolchain() -> tuple[str, ...]:
    """What besides its content decides a kernel's machine code: compiler and processor."""
    switches = "OPT LOOP_VECTORIZE SLP_VECTORIZE ENABLE_AVX BOUNDSCHECK DEBUGINFO_DEFAULT"
    switches += " USING_SVML CPU_NAME CPU_FEATURES"
    return (
        sys.version,
        *(module.__version__ for module in (numba, llvmlite, np)),
        *(f"{name} {getattr(config, name, None)}" for name in switches.split()),
        binding.get_host_cpu_name(),
        binding.get_host_cpu_features().flatten(),
    )


@cache
def _make_room_once() -> None:
    """Delete what is old, once a process, when something new was written; and what versions before
    this one left in the package, where it would outlive an uninstall and hide the next install."""
    folder = kernel_folder()
    if folder is not None:
        make_room(folder.iterdir(), LARGEST_TOTAL, UNUSED_DAYS)
    for left in Path(__file__).parents[1].rglob("__pycache__/*.nb[ic]"):
        with suppress(OSError):
            left.unlink()
