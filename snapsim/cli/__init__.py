"""The snapsim commands: they only wire the parts together."""

from __future__ import annotations

import sys
from collections.abc import Sequence

from snapsim.work.interrupts import (
    INTERRUPTED,
    asked_to_end,
    caused_by_request,
    ignore_requests,
    mind_requests,
)


def main(arguments: Sequence[str] | None = None) -> None:
    """Run one command and leave with its exit status; requests to end are minded from the start."""
    mind_requests()
    try:
        from snapsim.cli.entry import command  # which takes its time

        status = command(sys.argv[1:] if arguments is None else list(arguments))
        ignore_requests()
    except BaseException as error:
        ignore_requests()
        if not (asked_to_end() or caused_by_request(error)):
            raise
        status = INTERRUPTED
    if asked_to_end():  # threads of a pool that ends may find its pipes closed
        sys.unraisablehook = lambda _: None
    sys.exit(status)
