"""Many releases of the gear blank: rate with one and two workers and through Dask, memory, cost.

    python tests/benchmarks/many_releases.py [SAMPLES]      4 x SAMPLES releases, 50 if not given
    python tests/benchmarks/many_releases.py --of DIR       what a sweep that was made already says

Rates count from the first result on, so that the start of workers is left out. CPU time is that of
the runs themselves: on a busy machine it is what the wall time would be on an idle one.
"""

from __future__ import annotations

import json
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager, nullcontext
from pathlib import Path

from snapsim.study.both_ways import differences
from snapsim.study.cases import with_samples
from snapsim.study.cluster import cluster
from snapsim.study.ledger import NAME, read_ledger
from snapsim.study.study_file import load_study
from snapsim.study.sweep import Standing, SweepOptions, sweep

STUDY = Path(__file__).parents[2] / "scenarios" / "gear-blank.study.toml"


class Watch:
    """Notes when results came."""

    def __init__(self) -> None:
        self.times: list[float] = []

    def __call__(self, standing: Standing) -> None:
        self.times.append(time.perf_counter())

    @property
    def rate(self) -> float:
        """Results a second between the first and the last."""
        return (len(self.times) - 1) / (self.times[-1] - self.times[0])


@contextmanager
def dask(workers: int) -> Iterator[str]:
    """Yield the address of a scheduler with workers, each a process of one thread."""
    from distributed import Client

    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "at.json"
        quiet = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL}
        command = [sys.executable, "-m", "dask"]
        at = ["--scheduler-file", str(file), "--no-dashboard"]
        begun = [subprocess.Popen([*command, "scheduler", "--port", "0", *at], **quiet)]
        work = [*command, "worker", *at, "--nthreads", "1", "--no-nanny"]
        begun += [subprocess.Popen(work, **quiet) for _ in range(workers)]
        try:
            while not file.is_file():
                time.sleep(0.1)
            address = json.loads(file.read_text())["address"]
            with Client(address, set_as_default=False) as client:
                client.wait_for_workers(workers, timeout=120)
            yield address
        finally:
            for process in begun:
                process.kill()
                process.wait()


def measured(samples: int, workers: int, through_dask: bool = False) -> None:
    """Make one sweep and print its rate, its CPU time a run and the memory of a worker."""
    study = with_samples(load_study(STUDY), samples)
    watch = Watch()
    with (
        tempfile.TemporaryDirectory() as folder,
        dask(workers) if through_dask else nullcontext("") as address,
        cluster(address) if address else nullcontext() as executor,
    ):
        sweep(study, STUDY, folder, SweepOptions(workers, executor=executor), watch)
        cpu = cpu_times(folder)
    memory = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1024
    how = f"Dask, {workers} workers" if through_dask else f"{workers} worker{'s' * (workers > 1)}"
    print(
        f"{how}: {len(watch.times)} results, {watch.rate:.2f} a second,"
        f" {sum(cpu) / len(cpu):.3f} s CPU each, largest worker so far {memory:.0f} MB",
        flush=True,
    )


def cpu_times(folder: str) -> list[float]:
    """CPU time of each result in a ledger [s]."""
    import sqlite3

    base = sqlite3.connect(Path(folder) / NAME)
    return [cpu for (cpu,) in base.execute("SELECT cpu_s FROM run")]


def told(folder: str) -> None:
    """Print what a sweep says of itself."""
    _, results = read_ledger(folder)
    numbers = sorted({n if n >= 0 else -1 - n for n in results})
    cpu = cpu_times(folder)
    print(f"{len(numbers)} releases, {len(results)} results, {sum(cpu):.0f} s CPU in all")
    print(f"{sum(cpu) / len(numbers):.3f} s CPU a release: 10 000 take two cores", end=" ")
    print(f"{10_000 * sum(cpu) / len(numbers) / 120:.1f} minutes")
    print(json.dumps(differences(results, numbers), indent=2))


def main() -> None:
    """Run what the arguments say."""
    if sys.argv[1:2] == ["--of"]:
        return told(sys.argv[2])
    samples = int(sys.argv[1]) if len(sys.argv) > 1 else 50
    for workers, through_dask in ((1, False), (2, False), (2, True)):
        measured(samples, workers, through_dask)
    return None


if __name__ == "__main__":
    main()
