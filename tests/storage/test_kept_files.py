"""Run files and ledgers of earlier versions open, and say what they said.

`tests/references/kept/VERSION` holds what `snapsim release falling.toml -o run.h5` and `sweep
keep.study.toml` of that version wrote; nothing there is made again. A version that changes what is
stored adds a folder; one that cannot read an old one says so in its refusal and here."""

import math
import shutil
from pathlib import Path

import pytest

import snapsim

KEPT = sorted((Path(__file__).parents[1] / "references" / "kept").iterdir())
G = 9.80665  # m/s^2, standard gravity (3rd CGPM, 1901)


@pytest.mark.parametrize("folder", KEPT, ids=lambda p: p.name)
def test_a_run_file_reads_back(folder):
    run = snapsim.read_run(folder / "run.h5")
    assert run.system == snapsim.load_scene(folder / "falling.toml")
    (blow,) = run.impacts
    assert blow.closing_speed == pytest.approx(math.sqrt(2 * G * 0.02), rel=1e-9)  # 20 mm of fall
    assert run.twins is not None
    assert snapsim.summary(run)["outcome"] == "moving"
    assert len(run.to_dataframe()) == len(run.time)


@pytest.mark.parametrize("folder", KEPT, ids=lambda p: p.name)
def test_a_ledger_is_ranked(folder, tmp_path):
    shutil.copy(folder / "sweep.sqlite", tmp_path / "sweep.sqlite")
    (row,) = snapsim.rank(tmp_path)["rows"]
    assert (row["runs"], row["statuses"]) == (4, {"done": 4})
    ball = snapsim.load_scene(folder / "falling.toml").bodies[0]
    worst = row["measures"]["impact_energy_J"]["worst"]
    assert ball.mass * G * 0.010 < worst < ball.mass * G * 0.020  # from 20 to 30 mm high


def test_a_later_format_is_refused_in_one_line(tmp_path):
    import h5py

    path = tmp_path / "run.h5"
    shutil.copy(KEPT[-1] / "run.h5", path)
    with h5py.File(path, "r+") as file:
        file.attrs["format_version"] = 99
    with pytest.raises(snapsim.InputError) as raised:
        snapsim.read_run(path)
    assert "\n" not in str(raised.value)
    assert "run.h5" in str(raised.value)
