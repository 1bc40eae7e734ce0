"""What the tests of lanes have done in a worker process."""

from __future__ import annotations

import os
import time
from typing import Any

from snapsim.errors import InputError
from snapsim.page.jobs import Report


def double(given: dict[str, Any], report: Report) -> dict[str, Any]:
    report(0.5, "doubling")
    return {"value": 2 * given["value"], "pid": os.getpid()}


def willing(given: dict[str, Any], report: Report) -> dict[str, Any]:
    for k in range(10_000):
        report(k / 10_000, "waiting to be cancelled")
        time.sleep(0.005)
    return {}


def deaf(given: dict[str, Any], report: Report) -> dict[str, Any]:
    report(0.0, "deaf")
    time.sleep(60)
    return {}


def refusing(given: dict[str, Any], report: Report) -> dict[str, Any]:
    raise InputError("is wrong", key="body.disc")


def dying(given: dict[str, Any], report: Report) -> dict[str, Any]:
    os._exit(9)


def keeping(given: dict[str, Any], report: Report) -> dict[str, Any]:
    """Counts until it is interrupted, and says how far it came."""
    count = 0
    try:
        while True:
            count += 1
            report(0.5, "counting")
            time.sleep(0.005)
    except KeyboardInterrupt:
        return {"count": count}
