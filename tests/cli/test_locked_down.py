"""As in a container: everything read-only but one folder, no home, no temporary folder, no network,
standard input closed, the C locale. The main job works; nothing else is said than what it needs.

Mounts and the network are taken away in namespaces of their own (unshare(1), as root).
"""

import json
import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from snapsim.numerics.kept_files import kept_folder

ROOT = Path(__file__).parents[2]

LOCK = (
    "mount --make-rprivate / && mount -t tmpfs tmpfs {out} && mount -o remount,bind,ro /"
    " && cd {out} && ! touch /locked 2>/dev/null && ! touch /tmp/locked 2>/dev/null && exec {shell}"
)

STUDY = (
    'scene = "falling.toml"\nsamples = 2\nreplicates = 1\n[vary]\n'
    '"contact.restitution" = { uniform = [0.2, 0.4] }\n'
)

JOB = {
    "check falling.toml": "A ball falls on a table",
    "release falling.toml -o run.h5": "wrote run.h5",
    "plot run.h5 -o run.svg": "wrote run.svg",
    "plot run.h5 -o run.png": "wrote run.png",
    "plot ball-under-magnet.toml --what magnetisation -o section.png": "wrote section.png",
    "page run.h5 -o run.html": "wrote run.html",
    "sweep s.study.toml -o out --workers 2 --keep all": "runs: 2 done",
    "plot out -o energies.pdf": "wrote energies.pdf",
    "rank out": "runs",
}


def locked(folder, lines, cache=None):
    """Run lines of `snapsim` one after another; return (status, output, error) of each."""
    if (
        shutil.which("unshare") is None
        or subprocess.run(
            ["unshare", "-m", "-n", "sh", "-c", "mount --make-rprivate /"],
            capture_output=True,
            check=False,
        ).returncode
    ):
        pytest.skip("no namespaces of one's own here: unshare -m -n needs root")
    out = folder / "only-this-is-writable"
    out.mkdir()
    texts = {path.name: path.read_text() for path in folder.glob("*.toml")}
    texts["s.study.toml"] = STUDY
    environment = {"PATH": os.environ["PATH"], "LC_ALL": "C", "PYTHONPATH": str(ROOT)}
    if cache is not None:
        environment["SNAPSIM_CACHE"] = str(cache)
    program = (
        "import json, subprocess, sys\n"
        f"for name, text in {texts!r}.items(): open(name, 'w').write(text)\n"
        "found = []\n"
        f"for line in {lines!r}:\n"
        f"    line = 'exec {sys.executable} -m snapsim ' + line + ' <&-'\n"
        "    done = subprocess.run(line, shell=True, capture_output=True, encoding='utf-8')\n"
        "    found.append([done.returncode, done.stdout, done.stderr])\n"
        "print(json.dumps(found))\n"
    )
    (folder / "job.py").write_text(program)
    shell = f"{sys.executable} {folder / 'job.py'}"
    done = subprocess.run(
        ["unshare", "-m", "-n", "sh", "-c", LOCK.format(out=out, shell=shell)],
        capture_output=True,
        text=True,
        env=environment,
        check=True,
        timeout=900,
    )
    return json.loads(done.stdout)


@pytest.mark.slow
def test_the_main_job_works_where_compiled_code_was_prepared(falling, ball_under_magnet, tmp_path):
    folder = kept_folder("kernels")
    assert folder is not None
    cache = folder.parent if not os.environ.get("SNAPSIM_CACHE") else os.environ["SNAPSIM_CACHE"]
    for line, (status, out, err) in zip(JOB, locked(tmp_path, list(JOB), cache), strict=True):
        assert (line, status, err) == (line, 0, "")
        assert JOB[line] in out


@pytest.mark.slow
@pytest.mark.longer  # all of the field's kernels are compiled in one process: 160 s
def test_without_any_place_to_keep_things_one_line_says_what_it_needs(falling, tmp_path):
    ((status, out, err),) = locked(tmp_path, ["force falling.toml --json"], "/nowhere/cache")
    assert status in (0, 2)
    assert err.count("\n") == 1
    assert "compiled functions cannot be kept (/nowhere/cache/kernels: Read-only file" in err
    assert "SNAPSIM_CACHE names a folder that can be written" in err
    assert out or status
