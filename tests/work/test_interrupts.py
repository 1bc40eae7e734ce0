"""An interrupt that is held back comes through afterwards, once; one that was minded is over."""

import os
import signal
import subprocess
import sys
import threading
import time

import pytest

from snapsim.work.interrupts import (
    AskedToEnd,
    caused_by_request,
    checkpoint,
    held_back,
    looking_out,
)


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


MINDED = """
from snapsim.work.interrupts import AskedToEnd
def ask():
    raise {}
try:
    exec("ask()")  # as dataclasses and named tuples are made
except KeyboardInterrupt:
    print("minded")
"""


@pytest.mark.parametrize(
    ("kind", "status"), [("AskedToEnd", 0), ("KeyboardInterrupt", -signal.SIGINT)]
)
def test_a_request_that_passed_the_exec_of_a_text_does_not_end_the_process_later(kind, status):
    # CPython's own way with the plain exception, told apart so that this test can fail
    done = subprocess.run(
        [sys.executable, "-c", MINDED.format(kind)], capture_output=True, text=True, check=False
    )
    assert (done.returncode, done.stdout, done.stderr) == (status, "minded\n", "")


COMPUTING = """
import os, signal
from snapsim.work import interrupts
interrupts.mind_requests()
interrupts.SOON = interrupts.PATIENCE = 600.0  # whatever else this machine does
def compiled(asks):  # as compiled code does that makes its answer of Python objects
    try:
        if asks:
            os.kill(os.getpid(), signal.{number})
        for _ in range(100):
            pass
    except BaseException:
        raise SystemError("a result with an exception set") from None
try:
    for k in range(20):
        if k < {passes}:
            interrupts.checkpoint()
        compiled(k in {asked})
    print("not yet")
except interrupts.AskedToEnd:
    print("let through")
except SystemError:
    print("in compiled code")
"""


@pytest.mark.parametrize("number", ["SIGINT", "SIGTERM"])
@pytest.mark.parametrize(
    ("passes", "asked", "said"),
    [
        (20, [5], "let through"),
        (0, [5], "in compiled code"),  # none is due: at once, as ever
        (3, [5], "not yet"),
        (3, [5, 6], "in compiled code"),  # the second is at once
    ],
)
def test_a_request_waits_for_a_checkpoint_where_one_is_due(number, passes, asked, said):
    text = COMPUTING.format(number=number, passes=passes, asked=asked)
    done = subprocess.run(
        [sys.executable, "-c", text], capture_output=True, text=True, check=False, timeout=60
    )
    assert (done.stdout, done.stderr) == (f"{said}\n", "")


def test_one_that_looks_out_ends_a_computation_at_its_checkpoint():
    looked = []

    def look():
        looked.append(True)
        if len(looked) == 3:
            raise KeyError("enough")

    with looking_out(look):
        checkpoint()
        checkpoint()
        with pytest.raises(KeyError, match="enough"):
            checkpoint()
    checkpoint()
    assert len(looked) == 3


def test_what_arose_from_a_request_is_known():
    def library(hide):
        try:
            raise AskedToEnd
        except AskedToEnd:
            error = SystemError("a result with an exception set")
            raise error from (None if hide else ValueError("another"))

    for hide in (True, False):
        with pytest.raises(SystemError) as raised:
            library(hide)
        assert caused_by_request(raised.value) is True
    assert caused_by_request(ImportError("a library is missing")) is False
