"""The long harness: `python -m tests.fuzz --minutes 30`; `--one KIND:NUMBER` makes a case again."""

from __future__ import annotations

import argparse
import itertools
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

from snapsim.work.interrupts import mind_requests
from tests.fuzz import sound
from tests.fuzz.cases import SOUND, Tally, Worker, run_cases
from tests.fuzz.kinds import KINDS

SHARES = {"scene": 5}
"""Cases of a kind in a round, where not one."""


def rounds(kinds: list[str], first: int) -> Iterator[tuple[str, int]]:
    """Yield cases without end: of each kind its share, round by round."""
    for n in itertools.count(first):
        for kind in kinds:
            share = SHARES.get(kind, 1)
            yield from ((kind, n * share + k) for k in range(share))


def main() -> int:
    """Run cases; return 1 where one went wrong. Told to end, it says what it had until then."""
    mind_requests()
    given = _arguments()
    kinds = given.kinds.split(",") if given.kinds else list(KINDS)
    tallies = {kind: Tally() for kind in kinds}
    with tempfile.TemporaryDirectory() as folder:
        sound.make(Path(folder))
        worker, end = Worker(Path(folder)), time.monotonic() + 60 * given.minutes
        try:
            cases = [_one(given.one)] if given.one else rounds(kinds, given.first)
            for kind, number, found in run_cases(worker, cases, given.keep):
                tallies.setdefault(kind, Tally()).take(number, found)
                if given.one or found["came to"] not in SOUND:
                    print(f"{kind}:{number} {found['came to']}: {found['said'][:300]}", flush=True)
                done = min(t.came_to.total() // SHARES.get(k, 1) for k, t in tallies.items())
                if time.monotonic() > end or done >= given.rounds:
                    break
        except KeyboardInterrupt:
            print("interrupted; until then:")
        finally:
            worker.close()
    print(table(tallies))
    return int(any(set(t.came_to) - set(SOUND) for t in tallies.values()))


def _arguments() -> argparse.Namespace:
    parser = argparse.ArgumentParser(prog="python -m tests.fuzz", description=__doc__)
    parser.add_argument("--minutes", type=float, default=30.0)
    parser.add_argument("--rounds", type=int, default=10**9, help="at most so many of each kind")
    parser.add_argument("--first", type=int, default=0, help="number of the first round")
    parser.add_argument("--kinds", default="", help=f"some of {','.join(KINDS)}")
    parser.add_argument("--one", default="", help="one case again, KIND:NUMBER")
    parser.add_argument("--keep", type=Path, default=Path("fuzz-failures"))
    return parser.parse_args()


def _one(text: str) -> tuple[str, int]:
    kind, _, number = text.partition(":")
    return kind, int(number)


def table(tallies: dict[str, Tally]) -> str:
    """What the cases came to, by kind."""
    lines = [f"{'kind':10} {'cases':>7} {'longest s':>10} {'most MB':>8}  came to"]
    for kind, t in tallies.items():
        came_to = ", ".join(f"{n} {k}" for k, n in t.came_to.most_common())
        total = t.came_to.total()
        worst = f"{t.seconds:10.2f} {t.bytes / 1e6:8.0f}"
        lines.append(f"{kind:10} {total:7} {worst}  {came_to} (slowest {t.slowest})")
    return "\n".join(lines)


if __name__ == "__main__":
    sys.exit(main())
