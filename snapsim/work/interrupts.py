"""Requests to end (Ctrl-C, SIGTERM): how they arrive, and held back where one would do harm.

A compiled library may swallow the exception of an interrupt and go on half done, or make another
exception of it (a kernel that makes its answer of Python objects: SystemError); a process that is
just being started prints a traceback. So where a computation passes a `checkpoint` often, a request
waits for the next.
"""

from __future__ import annotations

import signal
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from types import FrameType
from typing import Any, Final, Never

REQUESTS: Final = (signal.SIGINT, signal.SIGTERM)

INTERRUPTED: Final = 130
"""Exit status of a process that was asked to end, as shells have it."""


class AskedToEnd(KeyboardInterrupt):
    """This process was asked to end.

    A class of its own: where KeyboardInterrupt itself passes the `exec` of a text (dataclasses and
    named tuples are made by one), CPython takes it for one that nobody minds, and at its end kills
    itself with SIGINT, whatever exit status it was given.
    """


_requests: list[int] = []

SOON: Final = 0.25
"""Seconds since the last checkpoint within which another is due: a request waits for it."""

PATIENCE: Final = 1.0
"""Seconds that it waits at the most."""


class _Checkpoints:
    """When the main thread passed one last [s], whether a request waits, and who else looks."""

    passed = -float("inf")
    waiting = False
    lookouts: tuple[Callable[[], None], ...] = ()


def checkpoint() -> None:
    """Let through what asked the main thread to end since the last checkpoint: raises AskedToEnd.

    For loops of computations that may be broken off here, some hundred times a second.
    """
    if threading.current_thread() is not threading.main_thread():
        return
    _Checkpoints.passed = time.monotonic()
    if _Checkpoints.waiting:
        _let_through()
    for look in _Checkpoints.lookouts:
        look()


@contextmanager
def looking_out(look: Callable[[], None]) -> Iterator[None]:
    """Until the block ends call `look` at each checkpoint; what it raises ends the computation."""
    before = _Checkpoints.lookouts
    _Checkpoints.lookouts = (*before, look)
    try:
        yield
    finally:
        _Checkpoints.lookouts = before


def mind_requests() -> None:
    """Let requests to end raise AskedToEnd in the main thread; one that is ignored stays so."""
    if threading.current_thread() is threading.main_thread():
        for number in REQUESTS:
            if signal.getsignal(number) != signal.SIG_IGN:
                signal.signal(number, _mind)


def ignore_requests() -> None:
    """Let no request disturb the end of a process that is ending."""
    if threading.current_thread() is threading.main_thread():
        _Checkpoints.waiting = False
        for number in REQUESTS:
            signal.signal(number, signal.SIG_IGN)


def asked_to_end() -> bool:
    """Return whether a request has come; what went wrong since then may be its doing."""
    return bool(_requests)


def caused_by_request(error: BaseException | None) -> bool:
    """Return whether an exception is an interrupt, or arose from one."""
    waiting, seen = [error], set[int]()
    while waiting:
        one = waiting.pop()
        if isinstance(one, KeyboardInterrupt):
            return True
        if one is not None and id(one) not in seen:
            seen.add(id(one))
            waiting += [one.__cause__, one.__context__]
    return False


def _mind(number: int, frame: FrameType | None) -> None:
    """Let a request wait for a checkpoint that is due; a second one, or none due, ends at once."""
    due = time.monotonic() - _Checkpoints.passed < SOON
    if _Checkpoints.waiting or not due or not hasattr(signal, "setitimer"):
        _Checkpoints.waiting = False
        _ask(number, frame)
    _requests.append(number)
    _Checkpoints.waiting = True
    signal.signal(signal.SIGALRM, _late)
    signal.setitimer(signal.ITIMER_REAL, PATIENCE)


def _late(number: int, frame: FrameType | None) -> None:
    """No checkpoint came, wherever the main thread is."""
    if _Checkpoints.waiting:
        _let_through()


def _let_through() -> Never:
    _Checkpoints.waiting = False
    if hasattr(signal, "setitimer"):
        signal.setitimer(signal.ITIMER_REAL, 0.0)
    raise AskedToEnd


def _ask(number: int, frame: FrameType | None) -> Never:
    _requests.append(number)
    raise AskedToEnd


@contextmanager
def held_back() -> Iterator[None]:
    """Let no interrupt (SIGINT, SIGTERM) through until the block ends; processes begun in it see
    none from the keyboard, and can be told to end."""
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    pressed: list[tuple[Any, ...]] = []
    kept = {
        number: signal.signal(number, lambda *given: pressed.append(given))
        for number in REQUESTS
        if callable(signal.getsignal(number))  # where the system's own way is due, it stays
    }
    mask = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, mask)
        for number, handler in kept.items():
            signal.signal(number, handler)
        for number, frame in pressed[:1]:
            handler = kept[number]
            assert callable(handler)
            handler(number, frame)
