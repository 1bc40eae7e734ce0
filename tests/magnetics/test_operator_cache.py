"""The operator cache: found again, recomputed when damaged, safe together, silent when it can't."""

import os
import shutil
import stat
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from snapsim.errors import InputError
from snapsim.magnetics import operator_cache
from snapsim.magnetics.cells import mesh
from snapsim.magnetics.demagnetization import demagnetizing_operator
from snapsim.magnetics.operator_cache import kept_blocks, kept_operator
from snapsim.numerics.compilation import kernel_folder
from snapsim.parts.shapes import Box, Cylinder, Ring

SHAPE = Ring(0.11, 0.026, 0.018)


@pytest.fixture
def folder(tmp_path, monkeypatch):
    monkeypatch.setenv("SNAPSIM_CACHE", str(tmp_path / "kept"))
    return tmp_path / "kept"


@pytest.fixture
def computed(monkeypatch):
    calls = []

    def counted(cells):
        calls.append(len(cells.cells))
        return demagnetizing_operator(cells)

    monkeypatch.setattr(operator_cache, "demagnetizing_operator", counted)
    return calls


def test_a_second_request_is_read_from_disk_and_bit_for_bit_the_same(folder, computed):
    cells = mesh(SHAPE, 60)
    first, second = kept_operator(cells), kept_operator(cells)
    assert len(computed) == 1
    assert np.array_equal(first.blocks, second.blocks)
    assert np.array_equal(first.volume, second.volume)
    assert len(list(folder.iterdir())) == 1


def test_it_is_the_operator_of_the_mesh(folder):
    cells = mesh(SHAPE, 60)
    kept, direct = kept_operator(cells), demagnetizing_operator(cells)
    scale = np.abs(direct.blocks).max()
    # rounding of the coordinates to 1e-11 and the order of pairs: quadrature error
    assert np.abs(kept.blocks - direct.blocks).max() < 1e-7 * scale
    assert kept.volume == pytest.approx(direct.volume, rel=1e-14)


def test_blocks_by_sectors_are_read_alone_and_bit_for_bit_the_same(folder, computed, monkeypatch):
    monkeypatch.setattr(operator_cache, "WORTH_SPLITTING", 0)
    cells = mesh(SHAPE, 300)
    first = kept_blocks(cells)
    assert first.sectors is not None
    assert first.blocks.size < kept_operator(cells).blocks.size / 2
    whole = folder / min((p.name for p in folder.iterdir()), key=len)
    whole.unlink()
    second = kept_blocks(cells)
    assert len(computed) == 1
    assert np.array_equal(first.blocks, second.blocks)
    assert second.volume.sum() == pytest.approx(3 * cells.volume.sum() / 8 / first.sectors.count)


def test_blocks_by_sectors_that_are_damaged_are_made_again(folder, monkeypatch):
    monkeypatch.setattr(operator_cache, "WORTH_SPLITTING", 0)
    cells = mesh(SHAPE, 300)
    first = kept_blocks(cells)
    kept = folder / max((p.name for p in folder.iterdir()), key=len)
    kept.write_bytes(kept.read_bytes()[:1000])
    assert np.array_equal(first.blocks, kept_blocks(cells).blocks)
    assert kept.stat().st_size > 1000


def test_a_body_without_equal_sectors_has_the_blocks_of_its_operator(folder, monkeypatch):
    monkeypatch.setattr(operator_cache, "WORTH_SPLITTING", 0)
    cells = mesh(Box((0.1, 0.05, 0.02)), 60)
    found = kept_blocks(cells)
    assert found.sectors is None
    assert np.array_equal(found.blocks, kept_operator(cells).blocks)


def test_parts_that_differ_only_in_size_share_one_operator(folder, computed):
    small, large = kept_operator(mesh(Cylinder(1, 2), 60)), kept_operator(mesh(Cylinder(4, 8), 60))
    assert len(computed) == 1
    assert large.blocks == pytest.approx(64 * small.blocks, rel=1e-12)


def test_another_proportion_or_mesh_is_another_operator(folder, computed):
    for cells in (mesh(SHAPE, 60), mesh(SHAPE, 150), mesh(Ring(0.11, 0.027, 0.018), 60)):
        kept_operator(cells)
    assert len(computed) == 3


@pytest.mark.parametrize("damage", ["empty", "cut", "bits", "other", "noise"])
def test_a_damaged_file_is_said_computed_anew_and_replaced(folder, computed, damage, capsys):
    cells = mesh(SHAPE, 60)
    first = kept_operator(cells)
    (path,) = folder.iterdir()
    content = bytearray(path.read_bytes())
    if damage == "empty":
        content = bytearray()
    elif damage == "cut":
        content = content[: len(content) // 2]
    elif damage == "bits":
        content[len(content) // 2] ^= 0xFF
    elif damage == "noise":
        content = bytearray(b"no archive at all" * 100)
    path.write_bytes(content)
    if damage == "other":
        with path.open("wb") as file:
            np.savez(file, blocks=np.zeros((8, 3, 3)))
    again = kept_operator(cells)
    assert np.array_equal(first.blocks, again.blocks)
    assert len(computed) == 2
    said = f"snapsim: {path}: is damaged: what it held is computed anew\n"
    assert capsys.readouterr().err == said
    kept_operator(cells)
    assert len(computed) == 2
    assert capsys.readouterr().err == ""


def test_a_flipped_bit_anywhere_changes_nothing(folder):
    # the head of a zip archive and of an array raise all kinds of errors; single bits by seed
    cells = mesh(Box((0.01, 0.01, 0.01)), 8)
    first = kept_operator(cells)
    (path,) = folder.iterdir()
    content = path.read_bytes()
    random = np.random.default_rng(11)
    places = [*range(160), *range(len(content) - 160, len(content))]
    for place in [*places, *random.integers(0, len(content), 200)]:
        spoilt = bytearray(content)
        spoilt[place] ^= 1 << int(random.integers(0, 8))
        path.write_bytes(spoilt)
        assert np.array_equal(first.blocks, kept_operator(cells).blocks)


def test_a_second_user_of_a_shared_cache_can_read_it(folder):
    kept_operator(mesh(SHAPE, 60))
    (path,) = folder.iterdir()
    assert stat.S_IMODE(path.stat().st_mode) == 0o644


def test_a_file_that_cannot_be_marked_as_used_is_used(folder, computed, monkeypatch):
    # another user's: it may be read, its times are not ours to set
    kept_operator(mesh(SHAPE, 60))

    def refused(*_):
        raise PermissionError(1, "Operation not permitted")

    monkeypatch.setattr(os, "utime", refused)
    kept_operator(mesh(SHAPE, 60))
    assert len(computed) == 1


def test_the_home_of_nobody_is_no_folder(monkeypatch):
    monkeypatch.setenv("SNAPSIM_CACHE", "~nobody-of-this-name/kept")
    with pytest.raises(InputError, match='SNAPSIM_CACHE: "~nobody-of-this-name/kept" is no folder'):
        kept_operator(mesh(SHAPE, 60))


def test_a_directory_that_cannot_be_is_no_error(tmp_path, monkeypatch):
    (tmp_path / "file").write_text("in the way")
    monkeypatch.setenv("SNAPSIM_CACHE", str(tmp_path / "file" / "kept"))
    assert np.isfinite(kept_operator(mesh(SHAPE, 60)).blocks).all()


def test_a_directory_that_may_not_be_written_is_no_error(folder):
    folder.mkdir()
    folder.chmod(stat.S_IRUSR | stat.S_IXUSR)
    try:
        assert np.isfinite(kept_operator(mesh(SHAPE, 60)).blocks).all()
    finally:
        folder.chmod(stat.S_IRWXU)


def test_a_write_that_fails_leaves_nothing_behind(folder, monkeypatch):
    def full(*_args, **_kwargs):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(operator_cache.np, "savez", full)
    kept_operator(mesh(SHAPE, 60))
    assert list(folder.iterdir()) == []


def test_the_oldest_files_make_room(folder, monkeypatch):
    kept_operator(mesh(SHAPE, 60))
    (old,) = folder.iterdir()
    os.utime(old, (1, 1))
    monkeypatch.setattr(operator_cache, "LARGEST_TOTAL", int(1.5 * old.stat().st_size))
    kept_operator(mesh(Ring(0.1, 0.03, 0.02), 60))
    assert not old.exists()
    assert len(list(folder.iterdir())) == 1


PROCESS = """
import sys, numpy as np
from snapsim.magnetics.cells import mesh
from snapsim.magnetics.operator_cache import kept_blocks, kept_operator
from snapsim.numerics.compilation import kernel_folder
from snapsim.parts.shapes import Ring
total = [kept_operator(mesh(Ring(1, 0.25, s), 60)).blocks.sum() for s in (0.2, 0.3, 0.2, 0.3)]
print(*(x.hex() for x in total))
"""


def test_processes_at_the_same_time_agree(folder):
    folder.mkdir()
    (folder / "kernels").symlink_to(kernel_folder())  # else each would compile them all
    running = [
        subprocess.Popen([sys.executable, "-c", PROCESS], stdout=subprocess.PIPE, text=True)
        for _ in range(3)
    ]
    said = {process.communicate(timeout=120)[0] for process in running}
    assert [process.returncode for process in running] == [0, 0, 0]
    assert len(said) == 1
    assert len(list(folder.glob("*.npz"))) == 2
    assert list(folder.glob("*.part")) == []


KEY = """
from snapsim.magnetics import operator_cache
from snapsim.numerics.module_content import modules_hash
print(operator_cache.__file__, modules_hash(*operator_cache.METHOD))
"""

EDITS = {
    "a kernel": (
        "magnetics/single_layer.py",
        "return total / FOUR_PI",
        "return 2 * total / FOUR_PI",
    ),
    "a kernel's callee": ("magnetics/charged_polygon.py", "f = 1.0 / FOUR_PI", "f = 2.0 / FOUR_PI"),
    "a callee's module": ("magnetics/cells/hexahedron.py", "cross) / 6", "cross) / 7"),
    "a callee's callee": (
        "magnetics/cells/reflection.py",
        "corners * sign + 0.0",
        "corners * sign",
    ),
    "a constant": ("magnetics/single_layer.py", "[1.2, 4]", "[1.2, 5]"),
    "a kernel's options": (
        "magnetics/demagnetization.py",
        "import bare",
        "import compiled as bare",
    ),
}

HARMLESS = {
    "a comment": (
        "magnetics/single_layer.py",
        "return total / FOUR_PI",
        "return total / FOUR_PI  #",
    ),
    "another module": ("magnetics/force.py", "MU_0", "1 * MU_0"),
}


def _key_of(package, file, old, new):
    """The key of a copy of the package after an edit in one file."""
    path = package / "snapsim" / file
    text = path.read_text()
    assert old in text
    path.write_text(text.replace(old, new))
    try:
        return _key(package)
    finally:
        path.write_text(text)


def _key(package):
    said = subprocess.run(
        [sys.executable, "-B", "-c", KEY],
        cwd=package,
        env=os.environ | {"PYTHONPATH": str(package)},
        capture_output=True,
        text=True,
        check=True,
    ).stdout.split()
    assert said[0].startswith(str(package))
    return said[1]


def test_an_edit_in_the_mathematics_of_an_operator_gives_another_key(tmp_path):
    """Two processes say the same key, each edit another, and harmless ones none."""
    ours = Path(operator_cache.__file__).parents[1]
    shutil.copytree(ours, tmp_path / "snapsim", ignore=shutil.ignore_patterns("__pycache__"))
    same = _key(tmp_path)
    assert {_key_of(tmp_path, *edit) for edit in HARMLESS.values()} == {same}
    keys = {what: _key_of(tmp_path, *edit) for what, edit in EDITS.items()}
    assert len({same, *keys.values()}) == 1 + len(EDITS), keys
