"""Interrupts held back where one would do harm, and let through afterwards.

A compiled library may swallow the exception of an interrupt and go on half done; a process that is
just being started prints a traceback.
"""

from __future__ import annotations

import signal
import threading
from collections.abc import Iterator
from contextlib import contextmanager


@contextmanager
def held_back() -> Iterator[None]:
    """Let no interrupt (SIGINT) through until the block ends; processes begun in it see none."""
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    pressed = []
    handler = signal.signal(signal.SIGINT, lambda *given: pressed.append(given))
    mask = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, mask)
        signal.signal(signal.SIGINT, handler)
        if pressed and callable(handler):
            handler(*pressed[0])
