"""Long computations beside the page: lanes of one worker process each, progress and cancel.

A job goes to a lane; a lane works through its jobs one after another in a process of its own, so
the page always answers. Cancelling sets a flag that the worker looks at whenever it reports
progress or passes a checkpoint (`work.interrupts`); one that does not is ended and a new one
started. Stopping interrupts the work as Ctrl-C does at a terminal (KeyboardInterrupt), in the same
places. What then returns is its result: what it found.
"""

from __future__ import annotations

import itertools
import queue
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from multiprocessing.connection import Connection
from typing import Any, Literal

from snapsim.errors import SnapsimError
from snapsim.work.interrupts import looking_out
from snapsim.work.processes import CONTEXT, process_beside

JobState = Literal["waiting", "running", "done", "failed", "cancelled"]

PATIENCE = 4.0
"""Seconds that a cancelled worker has before it is ended."""

EVERY = 0.05
"""Seconds between reports of progress."""

Report = Callable[[float, str], None]
"""Called by the work with a share 0..1 and a word; raises `Cancelled` where the job is."""

Work = Callable[[dict[str, Any], Report], dict[str, Any]]
"""A function of a module, by reference: what it is given, whom it reports to, what came of it."""


class Cancelled(Exception):
    """The job was cancelled; raised inside the work."""


@dataclass
class PageJob:
    """One computation: `share` done 0..1, `word` what is being done, `result` or `error` after."""

    number: int
    kind: str
    work: Work
    given: dict[str, Any]
    state: JobState = "waiting"
    share: float = 0.0
    word: str = ""
    result: dict[str, Any] | None = None
    error: str = ""
    cancelled_at: float | None = None
    stopped_at: float | None = None
    over: threading.Event = field(default_factory=threading.Event)

    @property
    def active(self) -> bool:
        """True until it has come to an end."""
        return not self.over.is_set()

    def standing(self) -> dict[str, Any]:
        """Return how far it is, without its result."""
        return {
            "number": self.number,
            "kind": self.kind,
            "state": self.state,
            "share": self.share,
            "word": self.word,
            "error": self.error,
            "stopped": self.stopped_at is not None,
        }


class Lane:
    """A queue of jobs and the process that does them, started with the first."""

    _numbers = itertools.count(1)

    def __init__(self) -> None:
        self._waiting: queue.Queue[PageJob | None] = queue.Queue()
        self._cancel, self._stop = CONTEXT.Event(), CONTEXT.Event()
        self._closing = threading.Event()
        # The process and its connection belong to the serving thread alone.
        self._process: Any = None
        self._connection: Connection | None = None
        self._thread = threading.Thread(target=self._serve, daemon=True)
        self._thread.start()

    def submit(self, kind: str, work: Work, given: dict[str, Any]) -> PageJob:
        """Queue a job and return it."""
        job = PageJob(next(self._numbers), kind, work, given)
        self._waiting.put(job)
        return job

    def close(self) -> None:
        """End the process; jobs not done are cancelled."""
        self._closing.set()
        self._waiting.put(None)
        self._thread.join(2 * PATIENCE)

    def _serve(self) -> None:
        while (job := self._waiting.get()) is not None:
            try:
                self._do(job)
            except (EOFError, OSError) as error:
                self._end_process()
                if job.cancelled_at is None and not self._closing.is_set():
                    job.state, job.error = "failed", f"the worker process ended: {error}"
                else:
                    job.state = "cancelled"
            finally:
                job.over.set()
        self._end_process()

    def _do(self, job: PageJob) -> None:
        if job.cancelled_at is not None or self._closing.is_set():
            job.state = "cancelled"
            return
        connection = self._connected()
        self._cancel.clear()
        self._stop.clear()
        told = False
        job.state = "running"
        connection.send((job.work, job.given))
        while job.active:
            if job.stopped_at is not None and not told:
                self._stop.set()
                told = True
            if not connection.poll(EVERY):
                self._mind_cancel(job)
                continue
            what, *rest = connection.recv()
            if what == "progress":
                job.share, job.word = rest
                self._mind_cancel(job)
                continue
            job.state = what
            if what == "done":
                job.result = rest[0]
            else:
                job.error = rest[0]
            return

    def _mind_cancel(self, job: PageJob) -> None:
        if self._closing.is_set():
            raise EOFError("its lane closes")
        if job.cancelled_at is None:
            return
        self._cancel.set()
        if time.monotonic() - job.cancelled_at > PATIENCE:
            raise EOFError("it was cancelled")

    def _connected(self) -> Connection:
        if self._process is not None and self._process.is_alive() and self._connection is not None:
            return self._connection
        self._connection, other = CONTEXT.Pipe()
        self._cancel, self._stop = CONTEXT.Event(), CONTEXT.Event()  # none that a dead one held
        self._process = process_beside(work_on, other, self._cancel, self._stop)
        other.close()
        return self._connection

    def _end_process(self) -> None:
        if self._process is not None:
            self._process.terminate()
            self._process.join(2.0)
            self._process = None
        if self._connection is not None:
            self._connection.close()
            self._connection = None


def cancel(job: PageJob) -> None:
    """Ask a job to end; one that waits does not begin."""
    if job.active and job.cancelled_at is None:
        job.cancelled_at = time.monotonic()


def stop(job: PageJob) -> None:
    """Ask a job to end with what it has found; one that waits does not begin."""
    if job.state == "waiting":
        cancel(job)
    elif job.active and job.stopped_at is None:
        job.stopped_at = time.monotonic()


def work_on(connection: Connection, cancelled: Any, stopped: Any) -> None:
    """Do what comes through a connection until it closes: the life of a worker process."""
    last = 0.0

    def look() -> None:
        if cancelled.is_set():
            raise Cancelled
        if stopped.is_set():
            stopped.clear()  # once a job: what it found is still to be put together
            raise KeyboardInterrupt

    def report(share: float, word: str) -> None:
        nonlocal last
        look()
        now = time.monotonic()
        if now - last >= EVERY:
            last = now
            connection.send(("progress", share, word))

    try:
        while True:
            work, given = connection.recv()
            with looking_out(look):
                outcome = _outcome(work, given, report)
            connection.send(outcome)
    except (EOFError, BrokenPipeError):
        return


def _outcome(work: Work, given: dict[str, Any], report: Report) -> tuple[Any, ...]:
    try:
        return "done", work(given, report)
    except (Cancelled, KeyboardInterrupt):
        return "cancelled", ""
    except SnapsimError as error:
        return "failed", str(error)
    except Exception as error:  # a fault of one job must not end the page
        return "failed", f"unexpected fault: {type(error).__name__}: {error}"
