"""What a module computes with: a hash of its code and of all modules of this package below it.

For results that are kept on disk although plain functions, not only kernels, made them. A module
counts where it is named by one that counts, at its top or within a function; of each the bytecode
of all functions, methods and kernels, and the values of its constants. Taken from what is in
memory, as in `kernel_content`: a file edited while a program runs can't lend its hash to the old
code. Comments, docstrings and line numbers do not count.
"""

from __future__ import annotations

import hashlib
import sys
from collections.abc import Iterator
from contextlib import suppress
from functools import cache
from importlib import import_module
from types import CodeType, FunctionType, ModuleType
from typing import Any

from snapsim.numerics.kernel_content import (
    PACKAGE,
    UnknownContent,
    code_content,
    options_content,
    value_content,
)


@cache
def modules_hash(*names: str) -> str:
    """Return the hash of these modules and of all of this package that they name."""
    digest = hashlib.sha256()
    for name in modules_below(*names):
        for fact in _facts(sys.modules[name]):
            digest.update(f"{name} {fact}\n".encode())
    return digest.hexdigest()


def modules_below(*names: str) -> list[str]:
    """Return these modules and those of this package that they name, and so on, sorted."""
    found = list(names)
    for name in found:  # grows while it is gone through
        module = import_module(name)
        found += [other for other in dict.fromkeys(_named(module)) if other not in found]
    return sorted(found)


def _named(module: ModuleType) -> Iterator[str]:
    for value in vars(module).values():
        other = value.__name__ if isinstance(value, ModuleType) else _home(value)
        if _is_ours(other):
            yield other
    for _, code in _code_of(module):
        yield from (name for name in _imports(code) if _is_ours(name))


def _home(value: Any) -> str:
    home = getattr(value, "__module__", "")
    return home if isinstance(home, str) else ""


def _is_ours(name: str) -> bool:
    return name.partition(".")[0] == PACKAGE and name in sys.modules and "." in name


def _imports(code: CodeType) -> Iterator[str]:
    yield from code.co_names
    for part in code.co_consts:
        if isinstance(part, CodeType):
            yield from _imports(part)


def _facts(module: ModuleType) -> Iterator[str]:
    for name, code in _code_of(module):
        yield f"{name}: {code_content(code)}"
    for name, value in sorted(vars(module).items()):
        if not name.startswith("__"):
            with suppress(UnknownContent):  # what is no constant: a logger, a type of typing's
                yield f"{name} = {_constant(value)}"


def _constant(value: Any) -> str:
    if isinstance(value, dict):
        return f"{[(_constant(key), _constant(held)) for key, held in value.items()]}"
    if isinstance(value, set | frozenset):
        return f"set {sorted(map(_constant, value))}"
    return f"{value_content(value, [])} {options_content(getattr(value, 'targetoptions', {}))}"


def _code_of(module: ModuleType) -> Iterator[tuple[str, CodeType]]:
    """The functions, methods and kernels that a module defines."""
    for name, value in sorted(vars(module).items()):
        if _home(value) == module.__name__:
            yield from _inside(name, value)


def _inside(name: str, value: Any) -> Iterator[tuple[str, CodeType]]:
    if isinstance(value, type):
        for inner, member in sorted(vars(value).items()):
            yield from _inside(f"{name}.{inner}", member)
        return
    for layer in ("py_func", "__wrapped__", "__func__", "fget", "func"):
        value = getattr(value, layer, None) or value
    if isinstance(value, FunctionType):
        yield name, value.__code__
