"""A worker whose kinds do what none may: the harness must notice each."""

from __future__ import annotations

import os
import time
from pathlib import Path

import numpy as np

from tests.fuzz.kinds import Kind, Wrong, command
from tests.fuzz.worker import main

KEPT: list[np.ndarray] = []


def _nothing(base: Path, folder: Path, random: np.random.Generator) -> bool:
    (folder / "case").touch()
    return False


def _told(base: Path, folder: Path, random: np.random.Generator) -> bool:
    return True


def _fault(base: Path, folder: Path) -> str:
    raise ZeroDivisionError("planted")


def _two_lines(base: Path, folder: Path) -> str:
    raise Wrong("two lines")


def _sleep(base: Path, folder: Path) -> str:
    time.sleep(600)
    return ""


def _die(base: Path, folder: Path) -> str:
    os._exit(9)


def _much(base: Path, folder: Path) -> str:
    KEPT.append(np.ones(150_000_000))  # 1.2 GB
    KEPT.clear()
    return "read"


def _noise(base: Path, folder: Path) -> str:
    os.write(2, b"a library is loud\n")
    return "read"


def _other(base: Path, folder: Path) -> str:
    return "sound" if base == folder else "other"


def _no_command(base: Path, folder: Path) -> str:
    return command("check", str(folder / "none.toml"))


FAULTY = {
    "sound": Kind(_nothing, lambda base, folder: "read"),
    "refused": Kind(_nothing, _no_command),
    "fault": Kind(_nothing, _fault),
    "wrong": Kind(_nothing, _two_lines),
    "too long": Kind(_nothing, _sleep),
    "died (9)": Kind(_nothing, _die),
    "memory": Kind(_nothing, _much),
    "noise": Kind(_nothing, _noise),
    "silently different": Kind(_told, _other),
}

if __name__ == "__main__":
    main(FAULTY)
