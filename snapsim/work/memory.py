"""How much memory there is to take, for choosing how many processes to start."""

from __future__ import annotations

from pathlib import Path

FREE = Path("/proc/meminfo")
GROUP = Path("/sys/fs/cgroup")


def memory_at_hand(free: Path = FREE, group: Path = GROUP) -> int | None:
    """Return how many bytes may be taken without others losing theirs: what the system says is
    available, or what the container's limit leaves where that is less; None where neither says."""
    found = [n for n in (_available(free), _left_of(group)) if n is not None]
    return min(found) if found else None


def _available(path: Path) -> int | None:
    """The entry MemAvailable of Linux (proc(5)), given in kB of 1024 bytes."""
    try:
        for line in path.read_text().splitlines():
            if line.startswith("MemAvailable:"):
                return 1024 * int(line.split()[1])
    except (OSError, ValueError, IndexError):
        pass
    return None


def _left_of(group: Path) -> int | None:
    """What the limit of a control group, version 2, leaves; files that were read do not count."""
    try:
        most, now = (group / "memory.max").read_text(), (group / "memory.current").read_text()
        counted = dict(line.split() for line in (group / "memory.stat").read_text().splitlines())
        return max(int(most) - int(now) + int(counted.get("inactive_file", 0)), 0)
    except (OSError, ValueError):
        return None
