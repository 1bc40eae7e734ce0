"""How many processes draw a film is bounded by the memory at hand."""

import pytest

from snapsim.cli.clip import drawing_processes
from snapsim.work.memory import memory_at_hand

GIGABYTE = 1 << 30


def written(tmp_path, available, most, now=0, files=0):
    free = tmp_path / "meminfo"
    free.write_text(f"MemTotal: 9 kB\nMemAvailable:  {available // 1024} kB\n")
    for name, text in (("max", most), ("current", now), ("stat", f"anon 5\ninactive_file {files}")):
        (tmp_path / f"memory.{name}").write_text(f"{text}\n")
    return free, tmp_path


@pytest.mark.parametrize(
    ("most", "now", "files", "left"),
    [("max", 0, 0, 8), (4 * GIGABYTE, GIGABYTE, 0, 3), (4 * GIGABYTE, 3 * GIGABYTE, GIGABYTE, 2),
     (4 * GIGABYTE, 5 * GIGABYTE, 0, 0)],
)  # fmt: skip
def test_the_lesser_of_what_the_system_and_the_container_leave_counts(
    tmp_path, most, now, files, left
):
    free, group = written(tmp_path, 8 * GIGABYTE, most, now, files)
    assert memory_at_hand(free, group) == left * GIGABYTE


def test_where_nothing_is_said_nothing_is_known(tmp_path):
    assert memory_at_hand(tmp_path / "none", tmp_path / "none") is None


@pytest.mark.parametrize(
    ("size", "cores", "left", "count"),
    [((1920, 1080), 4, 16, 4), ((3840, 2160), 4, 8, 2), ((3840, 2160), 4, 12, 3),
     ((1920, 1080), 2, 1, 1), ((1920, 1080), 3, None, 3)],
)  # fmt: skip
def test_large_pictures_are_drawn_by_fewer_processes_where_memory_is_short(
    size, cores, left, count
):
    """A process takes 0.5 GB and 0.35 GB a million pixels (measured, see DEVELOPERS.md)."""
    at_hand = None if left is None else left * GIGABYTE
    assert drawing_processes(*size, cores, at_hand) == count
