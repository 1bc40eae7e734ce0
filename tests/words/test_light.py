"""Enums and words come without the compiled physics: who only says something stays quick."""

import json
import subprocess
import sys

LIGHT = (
    "snapsim.mechanics.ending",
    "snapsim.mechanics.chipping",
    "snapsim.words.endings",
    "snapsim.words.chipping",
    "snapsim.words.meshes",
    "snapsim.analysis.tables",
    "snapsim.analysis.summary",
    "snapsim.storage.writing",
    "snapsim.storage.reading",
)
HEAVY = {"numba", "scipy.integrate", "snapsim.run.release", "snapsim.magnetics.model"}


def test_words_tables_and_run_files_do_not_load_the_compiled_physics():
    """An enum kept in a module of the release once cost every command a second of loading."""
    code = (
        f"import sys, json\nfor m in {LIGHT!r}: __import__(m)\nprint(json.dumps(list(sys.modules)))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert not HEAVY & set(json.loads(done.stdout))
