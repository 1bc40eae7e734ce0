"""Interrupts held back where one would do harm, and let through afterwards.

A compiled library may swallow the exception of an interrupt and go on half done; a process that is
just being started prints a traceback.
"""

from __future__ import annotations

import signal
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any


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
        for number in (signal.SIGINT, signal.SIGTERM)
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
