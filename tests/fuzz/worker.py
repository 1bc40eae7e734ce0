"""A process that works through cases: one line of JSON in, one out. Run as `-m tests.fuzz.worker`.

What compiled libraries write past Python lands in a file and counts as noise.
"""

from __future__ import annotations

import json
import os
import resource
import sys
import tempfile
import time
import warnings
from collections.abc import Mapping
from contextlib import suppress
from pathlib import Path
from typing import Any

from tests.fuzz.kinds import KINDS, REFUSED, Kind, Wrong, random_of

CEILING = 8 << 30
"""Bytes of addresses a worker may have: far beyond what a case may take, short of the machine."""


def main(kinds: Mapping[str, Kind] = KINDS) -> None:
    """Answer until standard input closes."""
    answers = os.fdopen(os.dup(1), "w")
    noise = tempfile.TemporaryFile()  # noqa: SIM115
    warnings.simplefilter("ignore")  # as the program does
    os.dup2(noise.fileno(), 1)
    os.dup2(noise.fileno(), 2)
    resource.setrlimit(resource.RLIMIT_AS, (CEILING, CEILING))
    known: dict[str, str] = {}
    for line in sys.stdin:
        asked = json.loads(line)
        found = work(asked, kinds[asked["kind"]], known)
        sys.stdout.flush()
        sys.stderr.flush()
        noise.seek(0)
        said = noise.read().decode(errors="replace").strip()
        noise.seek(0)
        noise.truncate()
        if said and found["came to"] in ("refused", "read"):
            found |= {"came to": "noise", "said": said[-600:]}
        answers.write(json.dumps(found) + "\n")
        answers.flush()


def work(asked: dict[str, Any], kind: Kind, known: dict[str, str]) -> dict[str, Any]:
    """Make one case and read it; `known` are the answers to sound files."""
    base, folder = Path(asked["base"]), Path(asked["folder"])
    digits = sys.get_int_max_str_digits()
    sys.set_int_max_str_digits(0)  # to write what may not be read
    told = kind.make(base, folder, random_of(asked["kind"], asked["number"]))
    sys.set_int_max_str_digits(digits)
    before = _fresh_peak()
    began = time.process_time()  # other users of the machine are no fault of the case
    try:
        found = kind.act(base, folder)
        came_to = "refused" if found.startswith(REFUSED) else "read"
        if told and came_to == "read" and found != _sound(asked["kind"], kind, base, known):
            came_to, found = "silently different", found[:300]
    except Wrong as wrong:
        came_to, found = "wrong", str(wrong)
    except MemoryError:
        came_to, found = "memory", "MemoryError"
    except BaseException as error:
        came_to, found = "fault", _last(error)
    seconds = time.process_time() - began
    return {
        "came to": came_to,
        "said": found[:600],
        "seconds": seconds,
        "bytes": max(0, _peak() - before),
    }


def _sound(name: str, kind: Kind, base: Path, known: dict[str, str]) -> str:
    """The answer to the sound file."""
    if name not in known:
        known[name] = kind.act(base, base)
    return known[name]


def _last(error: BaseException) -> str:
    """An exception and where it arose."""
    trace, where = error.__traceback__, ""
    while trace is not None:
        where = f"{Path(trace.tb_frame.f_code.co_filename).name}:{trace.tb_lineno}"
        trace = trace.tb_next
    return f"{type(error).__name__} at {where}: {error}"


def _fresh_peak() -> int:
    """Begin a new peak of memory, where the system can, and return where it begins [bytes]."""
    with suppress(OSError):
        Path("/proc/self/clear_refs").write_text("5")
    return _peak()


def _peak() -> int:
    """The most memory held since then [bytes]."""
    try:
        status = Path("/proc/self/status").read_text()
        return int(next(x for x in status.splitlines() if x.startswith("VmHWM")).split()[1]) << 10
    except (OSError, StopIteration):
        return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss << 10


if __name__ == "__main__":
    main()
