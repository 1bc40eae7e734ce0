"""What every command costs on a small scene: seconds of processor time, the least of three.

    python tests/benchmarks/start_up.py [--runs 3] [COMMAND ...]

User and system time of a process and of all that it starts, so that a busy machine changes little.
Each command has run once before it is timed: kernels are compiled, caches are filled, files are
in memory. The scene is a steel ball that drops on a table under a magnet; what a command must have
(a run, a sweep) is made first. Nothing is judged: figures are for comparing two versions on one
machine.
"""

from __future__ import annotations

import argparse
import os
import resource
import subprocess
import sys
import tempfile
from pathlib import Path

SCENE = (Path(__file__).parents[1] / "scenes" / "ball-under-magnet.toml").read_text()
SCENE = SCENE.replace('"0, 0, 12.5 mm"', '"0, 0, 22.5 mm"') + 'duration = "0.05 s"\n'

STUDY = """
scene = "scene.toml"
samples = 2
replicates = 1
[vary]
"body.ball.position.z" = { uniform = ["13 mm", "30 mm"] }
"""

OVER = ["--first", "body.magnet.position.z=120..150 mm", "--second", "body.ball.position.x=0..9 mm"]
GRID = ["--grid", "1x1", "--resolution", "30 mm", "--spots", "0", "--redo"]

COMMANDS: dict[str, list[str]] = {
    "(bare python)": [],
    "(no arguments)": [""],
    "help": ["--help"],
    "version": ["--version"],
    "check, help": ["check", "--help"],
    "chek (a typing error)": ["chek", "scene.toml"],
    "check missing.toml": ["check", "missing.toml"],
    "check, not TOML": ["check", "broken.toml"],
    "check, unknown key": ["check", "misspelt.toml"],
    "check, unknown unit": ["check", "scene.toml", "--set", "body.ball.shape.diameter=25 mn"],
    "check, unknown body": ["check", "scene.toml", "--set", "body.bal.fixed=true"],
    "force, unknown body": ["force", "scene.toml", "--body", "bal"],
    "release, unwritable": ["release", "scene.toml", "-o", "run.h5"],
    "new": ["new", "new.toml", "--force"],
    "materials": ["materials"],
    "check": ["check", "scene.toml"],
    "check --json": ["check", "scene.toml", "--json"],
    "check --schema": ["check", "--schema"],
    "force": ["force", "scene.toml"],
    "force --along": ["force", "scene.toml", "--along", "z", "--points", "3"],
    "poses": ["poses", "scene.toml", "--starts", "1"],
    "margin": ["margin", "scene.toml"],
    "plot energy": ["plot", "scene.toml", "-o", "plot.png", "--force"],
    "fate": ["fate", "scene.toml", "-o", "fates", *OVER, *GRID],
    "release": ["release", "scene.toml"],
    "release -o": ["release", "scene.toml", "-o", "run.h5", "--force"],
    "plot of a run": ["plot", "run.h5", "-o", "plot.png", "--force"],
    "sweep": ["sweep", "s.study.toml", "-o", "swept", "--workers", "1", "--redo"],
    "rank": ["rank", "swept"],
    "page -o": ["page", "run.h5", "-o", "run.html", "--force"],
    "clip, one still": ["clip", "run.h5", "-o", "still.png", "--still", "0.02 s", "--force"],
}
"""Each on its own; those below may use what those above wrote."""


def main() -> None:
    """Print one line a command."""
    parser = argparse.ArgumentParser(description="Processor time of every command.")
    parser.add_argument("--runs", type=int, default=3, help="the least of so many")
    parser.add_argument("commands", nargs="*", metavar="COMMAND", help="only these, by name")
    given = parser.parse_args()
    chosen = [n for n in COMMANDS if not given.commands or n in given.commands]
    with tempfile.TemporaryDirectory() as folder:
        prepare(Path(folder), chosen)
        print(f"{'command':24}{'CPU s':>8}  status")
        for name in chosen:
            found = [seconds(COMMANDS[name], folder) for _ in range(1 + given.runs)][1:]
            print(f"{name:24}{min(s for s, _ in found):8.2f}  {found[0][1]}", flush=True)


def prepare(folder: Path, chosen: list[str]) -> None:
    """Write the scenes, and what a command alone would find missing."""
    (folder / "scene.toml").write_text(SCENE)
    (folder / "broken.toml").write_text(SCENE.replace("]]", "]"))
    (folder / "misspelt.toml").write_text(SCENE.replace("diameter", "diametre"))
    (folder / "s.study.toml").write_text(STUDY)
    for name in ("release -o", "sweep"):
        if name not in chosen or chosen != list(COMMANDS):
            seconds(COMMANDS[name], str(folder))


def seconds(arguments: list[str], folder: str) -> tuple[float, int]:
    """Return processor time [s] and exit status of a command, "" left out; none: Python alone."""
    command = [sys.executable, *(["-m", "snapsim"] if arguments else ["-c", "pass"])]
    before = used()
    done = subprocess.run(
        [*command, *filter(None, arguments)],
        cwd=folder,
        env=os.environ | {"PYTHONPATH": os.environ.get("PYTHONPATH", "")},
        stdin=subprocess.DEVNULL,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )
    return used() - before, done.returncode


def used() -> float:
    """Processor time [s] of all processes started and ended so far."""
    now = resource.getrusage(resource.RUSAGE_CHILDREN)
    return now.ru_utime + now.ru_stime


if __name__ == "__main__":
    main()
