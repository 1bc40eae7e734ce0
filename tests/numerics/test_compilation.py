"""Compiled files: kept by content, shared by equal content, never old, not trusted when damaged."""

import os
import re
import shutil
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest

import snapsim
from snapsim.numerics import compilation
from snapsim.numerics.kept_files import write_sealed

PACKAGE = Path(snapsim.__file__).parent


@pytest.fixture
def folder(tmp_path, monkeypatch):
    """A folder for the compiled files of this process."""
    path = tmp_path / "kernels"
    monkeypatch.setattr(compilation, "kernel_folder", lambda: path)
    return path


def cubed(x):
    """The kernel of these tests."""
    return x * x * x


def files(folder):
    return sorted(folder.glob("*.kernel"))


def hits_and_misses(kernel):
    return sum(kernel.stats.cache_hits.values()), sum(kernel.stats.cache_misses.values())


def test_what_was_compiled_is_loaded_the_next_time(folder):
    first, second = compilation.compiled(cubed), compilation.compiled(cubed)
    assert (first(3.0), second(3.0)) == (27.0, 27.0)
    assert hits_and_misses(first) == (0, 1)
    assert hits_and_misses(second) == (1, 0)
    assert len(files(folder)) == 1


def test_every_type_of_arguments_has_its_own(folder):
    kernel, again = compilation.compiled(cubed), compilation.compiled(cubed)
    assert kernel(3.0) == 27.0
    assert kernel(3) == 27
    assert again(3) == 27
    assert isinstance(again(3), int)
    assert len(files(folder)) == 2


@pytest.mark.parametrize("share", [0.0, 0.01, 0.3, 0.6, 0.999])
def test_a_flipped_bit_is_noticed_and_compiled_anew(folder, share):
    compilation.compiled(cubed)(3.0)
    (path,) = files(folder)
    held = bytearray(path.read_bytes())
    held[int(share * len(held))] ^= 0x10
    path.write_bytes(held)
    kernel, next_one = compilation.compiled(cubed), compilation.compiled(cubed)
    assert kernel(3.0) == 27.0
    assert hits_and_misses(kernel) == (0, 1)
    assert next_one(2.0) == 8.0
    assert hits_and_misses(next_one) == (1, 0)


@pytest.mark.parametrize("held", [b"", b"short", None])
def test_a_file_of_something_else_is_compiled_anew(folder, held):
    """Cut short, or sound by its checksum but nothing that numba can read."""
    compilation.compiled(cubed)(3.0)
    (path,) = files(folder)
    if held is None:
        write_sealed(path, b"no code")
    else:
        path.write_bytes(held)
    kernel = compilation.compiled(cubed)
    assert kernel(3.0) == 27.0
    assert hits_and_misses(kernel) == (0, 1)


def test_a_folder_that_cannot_be_written_is_no_error(tmp_path, monkeypatch):
    (tmp_path / "file").write_text("in the way")
    for folder in (tmp_path / "file" / "kernels", None):
        monkeypatch.setattr(compilation, "kernel_folder", lambda folder=folder: folder)
        assert compilation.compiled(cubed)(3.0) == 27.0


def test_without_a_home_nothing_is_kept_anywhere(monkeypatch):
    """An unknown home stays '~', which is not to become a folder of that name."""
    monkeypatch.delenv("SNAPSIM_CACHE", raising=False)
    monkeypatch.setattr(compilation.kept_folder.__globals__["platformdirs"], "user_cache_dir", _at)
    assert compilation.kept_folder("kernels") is None


def _at(*_name, **_options):
    return "~/.cache/snapsim"


def test_the_chosen_folder_is_used(tmp_path, monkeypatch):
    monkeypatch.setenv("SNAPSIM_CACHE", str(tmp_path))
    assert compilation.kept_folder("kernels") == tmp_path / "kernels"


def test_files_long_unused_are_deleted_and_used_ones_stay(folder, monkeypatch):
    monkeypatch.setattr(compilation, "UNUSED_DAYS", 60.0)
    folder.mkdir()
    day, now = 86400.0, time.time()
    for name, age in (("old", 61.0), ("young", 59.0)):
        (folder / f"{name}.kernel").write_bytes(b"")
        os.utime(folder / f"{name}.kernel", (now - age * day,) * 2)
    compilation._make_room_once.cache_clear()
    compilation.compiled(cubed)(3.0)
    assert {path.name.partition("-")[0] for path in files(folder)} >= {"young.kernel"}
    assert not (folder / "old.kernel").exists()
    (path,) = (p for p in files(folder) if "cubed" in p.name)
    os.utime(path, (now - 59.0 * day,) * 2)
    compilation.compiled(cubed)(3.0)
    assert path.stat().st_mtime > now - day


LATER = """
import pathlib, sys
from snapsim.numerics import compilation
compilation.kernel_folder = lambda: pathlib.Path(sys.argv[1])
from snapsim.numerics.kriging import dot
import numpy as np
ones = np.ones(4)
first, light = dot(ones, ones), "numba.np.arraymath" not in sys.modules
late = compilation.compiled(lambda x: np.linalg.solve(np.eye(4), x).max() + dot(x, x))
print(first, late(ones), light)
"""


def test_a_kernel_is_loaded_without_what_compiles_and_a_later_one_compiled_with_it(tmp_path):
    """The second process finds the first kernel and not the second, which calls the first and
    needs arrays, BLAS and all: 1 + 4."""
    for light in (False, True):
        for path in (tmp_path / "kernels").glob("*lambda*"):
            path.unlink()
        command = [sys.executable, "-c", LATER, str(tmp_path / "kernels")]
        said = subprocess.run(command, capture_output=True, text=True, check=True).stdout
        assert said.split() == ["4.0", "5.0", str(light)]


TWO = """
import sys, pathlib
from snapsim.numerics import compilation
compilation.kernel_folder = lambda: pathlib.Path(sys.argv[1])
from snapsim.numerics.kriging import dot
import numpy as np
print(dot(np.arange(4.0), np.arange(4.0)))
"""


def test_two_first_runs_at_once_agree(tmp_path):
    command = [sys.executable, "-c", TWO, str(tmp_path / "kernels")]
    running = [subprocess.Popen(command, stdout=subprocess.PIPE, text=True) for _ in range(3)]
    assert {process.communicate(timeout=300)[0] for process in running} == {"14.0\n"}
    assert [process.returncode for process in running] == [0, 0, 0]
    assert len(files(tmp_path / "kernels")) == 1
    assert list((tmp_path / "kernels").glob("*.part")) == []


CALLER = """
import numpy as np
from snapsim.magnetics.mutual import _points_on_polygon
corners = np.array([[0, 0, 0], [1, 0, 0], [1, 1, 0], [0, 1, 0], [0, 0, 1.0]])
part = np.zeros(7)
_points_on_polygon(np.array([[0.5, 0.5, 0.4, 1.0]]), corners, 1.0, part)
print(*(x.hex() for x in part))
"""


def test_an_edited_callee_changes_the_caller_in_the_next_process(tmp_path):
    """Another checkout, run, edited, run again: the changed number comes without any manual step,
    and equals that of the uncompiled code to rounding; with the edit undone, the old one."""
    checkout = tmp_path / "checkout"
    shutil.copytree(PACKAGE, checkout / "snapsim", ignore=shutil.ignore_patterns("__pycache__"))
    edited = checkout / "snapsim" / "magnetics" / "charged_polygon.py"

    def computed(**more):
        environment = {**os.environ, "PYTHONPATH": str(checkout), **more}
        environment["SNAPSIM_CACHE"] = str(tmp_path / "kept")
        environment["PYTHONDONTWRITEBYTECODE"] = "1"  # Python's own goes by time and size
        done = subprocess.run(
            [sys.executable, "-c", CALLER],
            env=environment,
            cwd=tmp_path,
            capture_output=True,
            text=True,
            check=True,
        )
        return np.array([float.fromhex(word) for word in done.stdout.split()])

    before, source = computed(), edited.read_text()
    doubled = source.replace("f = 1.0 / FOUR_PI", "f = 2.0 / FOUR_PI")
    assert doubled != source
    status = edited.stat()
    edited.write_text(doubled)
    os.utime(edited, ns=(status.st_atime_ns, status.st_mtime_ns))  # whatever its time says
    after = computed()
    assert after == pytest.approx(2.0 * before, rel=1e-12, abs=1e-15)
    assert after == pytest.approx(computed(NUMBA_DISABLE_JIT="1"), rel=1e-12, abs=1e-15)
    edited.write_text(source)
    assert np.array_equal(computed(), before)
    assert not list(checkout.rglob("*.nb?"))
    assert not list(checkout.rglob("*.kernel"))


def test_nothing_is_compiled_in_any_other_way():
    """No kernel with a cache of numba's own, which doesn't see edits of other files."""
    naming = [
        path.relative_to(PACKAGE).as_posix()
        for path in PACKAGE.rglob("*.py")
        if re.search(r"\bn?jit\b|numba\.(vectorize|guvectorize|cfunc)|jitclass", path.read_text())
    ]
    assert naming == ["numerics/compilation.py"]


EVERY = """
import importlib, pkgutil, sys
import snapsim
from numba.core.dispatcher import Dispatcher
from snapsim.numerics.kernel_content import content_hash
for room in ("numerics", "parts", "magnetics", "mechanics", "simulation", "landscape"):
    found = importlib.import_module(f"snapsim.{room}")
    for module in pkgutil.walk_packages(found.__path__, found.__name__ + "."):
        importlib.import_module(module.name)
kernels = {
    value for name, module in list(sys.modules.items()) if name.startswith("snapsim.")
    for value in vars(module).values() if isinstance(value, Dispatcher)
}
print(len(kernels), len({content_hash(kernel, ()) for kernel in kernels}))
"""


def test_every_kernel_of_the_package_can_be_kept():
    """Each has a content that can be told, and a hash of its own."""
    done = subprocess.run([sys.executable, "-c", EVERY], capture_output=True, text=True, check=True)
    count, different = map(int, done.stdout.split())
    assert count == different > 200
