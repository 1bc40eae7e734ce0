"""An interrupt that is held back comes through afterwards, once."""

import os
import signal
import threading
import time

import pytest

from snapsim.work.interrupts import held_back


@pytest.mark.skipif(
    threading.current_thread() is not threading.main_thread(), reason="signals need the main thread"
)
def test_an_interrupt_waits_until_the_block_has_ended():
    reached = []

    def interrupted_within():
        with held_back():
            os.kill(os.getpid(), signal.SIGINT)
            time.sleep(0.02)
            reached.append(True)

    with pytest.raises(KeyboardInterrupt):
        interrupted_within()
    assert reached
    assert signal.getsignal(signal.SIGINT) is signal.default_int_handler
