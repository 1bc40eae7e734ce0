"""Runs made with long steps and with the usual ones (`coarse_first`), as a ledger has them."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

import numpy as np


def coarse_number(number: int) -> int:
    """Return the number in the ledger of the coarse run of run `number`."""
    return -1 - number


def latest(results: Mapping[int, dict[str, Any]], number: int) -> dict[str, Any] | None:
    """Return the result of a run: the one with usual steps where there is one."""
    return results.get(number, results.get(coarse_number(number)))


def differences(results: Mapping[int, dict[str, Any]], numbers: Iterable[int]) -> dict[str, Any]:
    """Return what the runs made both ways say of the coarse ones.

    "coarse" and "refined": runs taken as they are, and made again; "both_ways": sound pairs;
    "changed": pairs with a flag that differs; "energy_median", "energy_worst": relative difference
    of the effective energy where both had a blow, None without.
    """
    numbers = list(numbers)
    again = [n for n in numbers if n in results and coarse_number(n) in results]
    pairs = [(results[coarse_number(n)], results[n]) for n in again]
    sound = [(c, f) for c, f in pairs if c["status"] == f["status"] == "done"]
    energies = [tuple(r["measures"]["effective_energy_J"] for r in pair) for pair in sound]
    off = [abs(c / f - 1) for c, f in energies if c and f]
    return {
        "coarse": sum(n not in results and coarse_number(n) in results for n in numbers),
        "refined": len(again),
        "both_ways": len(sound),
        "changed": sum(c["flags"] != f["flags"] for c, f in sound),
        "energy_median": float(np.median(off)) if off else None,
        "energy_worst": float(max(off)) if off else None,
    }
