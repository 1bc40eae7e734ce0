"""What a compiled function is made of: a hash of its own code and of all that it may call.

Two kernels of one hash run the same machine code, wherever their files lie: it covers the bytecode
of the function, the values of the globals that it names, and so on through every function among
those; the options of the compiler; and of the arguments their types, with the fields of named
tuples. Comments, docstrings and line numbers are not in it. It is taken from what is in memory, so
a file edited while a program runs can't lend its hash to the old code.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable
from functools import cache
from types import BuiltinFunctionType, CodeType, FunctionType, ModuleType
from typing import Any

import numpy as np
from numba.core import types
from numba.core.dispatcher import Dispatcher

PACKAGE = __name__.partition(".")[0]


class UnknownContent(Exception):
    """A kernel names something whose content can't be told; it is not kept."""


def content_hash(kernel: Dispatcher, arguments: Iterable[types.Type]) -> str:
    """Return the hash of a kernel for arguments of these types; raises UnknownContent."""
    given: list[Any] = []
    facts = [_type(argument, given) for argument in arguments]
    facts += [_with_callees(function) for function in (kernel, *given)]
    return _hash(repr(facts))


@cache
def _with_callees(kernel: Any) -> str:
    """Hash of a function and of all that it may call."""
    functions, place, facts = [kernel], {id(kernel): 0}, list[object]()
    for function in functions:  # grows while it is gone through
        own, named = _function(function)
        for other in named:
            if id(other) not in place:
                place[id(other)] = len(functions)
                functions.append(other)
        facts.append((own, [place[id(other)] for other in named]))
    return _hash(repr(facts))


def _hash(text: str) -> str:
    return hashlib.sha256(text.encode()).hexdigest()


@cache
def _function(function: Any) -> tuple[str, list[Any]]:
    """Hash of what one function says itself, and the functions that it names."""
    python = getattr(function, "py_func", function)
    named: list[Any] = []
    cells = [cell.cell_contents for cell in python.__closure__ or ()]
    found = _globals(python)
    facts = [
        f"{python.__module__}.{python.__qualname__}",
        options_content(getattr(function, "targetoptions", {})),
        code_content(python.__code__),
        *(value_content(value, named) for value in (*cells, *(python.__defaults__ or ()))),
        *(f"{name} = {value_content(value, named)}" for name, value in sorted(found.items())),
    ]
    return _hash("\n".join(facts)), named


def options_content(options: dict[str, Any]) -> str:
    """Return a kernel's options to the compiler."""
    return repr(
        [
            (name, sorted(value) if isinstance(value, set | frozenset) else value)
            for name, value in sorted(options.items())
        ]
    )


def _globals(python: FunctionType) -> dict[str, Any]:
    """The globals that the code names, with what it names of modules of this package.

    Attributes that happen to be called like a global are among them, which does no harm.
    """
    names, found = _names(python.__code__), dict[str, Any]()
    for name in names & python.__globals__.keys():
        value = python.__globals__[name]
        if isinstance(value, ModuleType) and _is_ours(value.__name__):
            inside = vars(value)
            found |= {f"{value.__name__}.{part}": inside[part] for part in names & inside.keys()}
        else:
            found[name] = value
    return found


def _names(code: CodeType) -> set[str]:
    inner = (part for part in code.co_consts if isinstance(part, CodeType))
    return set(code.co_names).union(*(_names(part) for part in inner))


def _is_ours(module: str) -> bool:
    return module.partition(".")[0] == PACKAGE


def code_content(code: CodeType) -> str:
    """Return bytecode with its constants, without the docstring and the lines it stands on."""
    constants = [
        _constant(part)
        for place, part in enumerate(code.co_consts)
        if place > 0 or not isinstance(part, str)
    ]
    shape = (code.co_argcount, code.co_kwonlyargcount, code.co_flags)
    names = (code.co_names, code.co_varnames, code.co_freevars, code.co_cellvars)
    table = getattr(code, "co_exceptiontable", b"")
    return repr((shape, code.co_code.hex(), table.hex(), constants, names))


def _constant(part: Any) -> str:
    if isinstance(part, CodeType):
        return code_content(part)
    if isinstance(part, frozenset):
        return repr(sorted(map(repr, part)))
    return repr(part)


def value_content(value: Any, named: list[Any]) -> str:
    """Return what a global is; kernels among it are put on the list. Raises UnknownContent."""
    if isinstance(value, Dispatcher):
        named.append(value)
        return "kernel"
    if isinstance(value, np.ndarray):
        held = hashlib.sha256(value.tobytes()).hexdigest()
        return f"array {value.dtype.descr} {value.shape} {value.flags.c_contiguous} {held}"
    if isinstance(value, np.generic | bool | int | float | complex | str | bytes | None):
        return f"{type(value).__name__} {value!r}"
    if isinstance(value, tuple | list):
        inner = [value_content(part, named) for part in value]
        return f"{_named_tuple(type(value))} of {inner}"
    if isinstance(value, type) and issubclass(value, tuple):
        return _named_tuple(value)
    return _from_elsewhere(value)


def _named_tuple(kind: type) -> str:
    return f"{kind.__module__}.{kind.__qualname__}{getattr(kind, '_fields', '')}"


def _from_elsewhere(value: Any) -> str:
    """A name of another package, whose content goes with its version.

    Plain functions of this package can't be called by kernels: their names are attributes' too.
    """
    sound = isinstance(value, ModuleType | BuiltinFunctionType | np.ufunc | FunctionType | type)
    home = value.__name__ if isinstance(value, ModuleType) else getattr(value, "__module__", "")
    if not sound or (_is_ours(home or "") and not isinstance(value, FunctionType)):
        raise UnknownContent(f"{value!r} of {home}")
    return f"{home} {getattr(value, '__qualname__', getattr(value, '__name__', ''))}"


_PLAIN = (
    types.Array,
    types.Number,
    types.Boolean,
    types.NoneType,
    types.Literal,
    types.Omitted,
    types.UnicodeType,
)


def _type(kind: types.Type, given: list[Any]) -> str:
    """What an argument's type is; a function given as an argument is put on the list."""
    if isinstance(kind, types.Dispatcher):
        given.append(kind.dispatcher)
        return "kernel"
    if isinstance(kind, types.BaseTuple):
        inner = [_type(part, given) for part in getattr(kind, "types", ())]
        name = _named_tuple(kind.instance_class) if hasattr(kind, "instance_class") else "tuple"
        return f"{name} of {inner}"
    if isinstance(kind, _PLAIN):
        return f"{type(kind).__name__} {kind}"
    raise UnknownContent(f"an argument of type {kind}")
