"""A run file is whole or absent, says what it holds, and reads back exactly."""

import dataclasses
import os
from contextlib import contextmanager
from pathlib import Path

import h5py
import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

import snapsim
from snapsim.errors import InputError, OutputError
from snapsim.mechanics.ending import OUTCOMES, EndReason, ended
from snapsim.simulation.reproducibility import Lying, Manner, Output, Twins
from snapsim.simulation.trajectory import Meshes
from snapsim.storage.seal import BLOCK
from snapsim.storage.whole_file import whole_file
from snapsim.storage.writing import write_content, write_run
from snapsim.words.endings import ending_words


def same(a, b):
    """Equal in every field, arrays and NaN to the last bit."""
    if isinstance(a, np.ndarray):
        return a.dtype == b.dtype and np.array_equal(a, b, equal_nan=True)
    if dataclasses.is_dataclass(a):
        return type(a) is type(b) and all(
            same(getattr(a, f.name), getattr(b, f.name)) for f in dataclasses.fields(a)
        )
    if isinstance(a, tuple | list):
        return len(a) == len(b) and all(same(x, y) for x, y in zip(a, b, strict=True))
    if isinstance(a, dict):
        return set(a) == set(b) and all(same(a[k], b[k]) for k in a)
    return type(a) is type(b) and (a == b or (a != a and b != b))


@contextmanager
def edited(path):
    """A run file opened to be spoilt; its hash goes, as in a file of an earlier version."""
    with h5py.File(path, "a") as file:
        yield file
    with open(path, "r+b") as file:
        file.write(bytes(BLOCK))


def datasets(path):
    """Every dataset of a file by name: value, attributes, dimension labels."""
    found = {}

    def visit(name, item):
        if isinstance(item, h5py.Dataset):
            labels = [d.label for d in item.dims]
            words = {k: item.attrs[k] for k in ("units", "description")}
            found[name] = (item[()], words, labels)

    with h5py.File(path) as file:
        file.visititems(visit)
    return found


def test_a_run_reads_back_exactly(run, tmp_path):
    write_run(run, tmp_path / "run.h5")
    assert same(snapsim.read_run(tmp_path / "run.h5"), run)


def test_what_twins_say_reads_back_exactly(run, tmp_path):
    twins = Twins(
        asked=3,
        failed=1,
        size=1e-6,
        apart=float("inf"),
        blows=2,
        outputs={
            "bodies.a.max_speed_m_s": Output(1.0, (1.5, 2.0), 1e-3, 0.1),
            "loads.string.parted_s": Output(0.2, (float("nan"), 0.2), 1e-3, 0.2),
        },
        lying={"a": (Lying((("b.c", Manner.FLAT),)), Lying((), True), Lying(()))},
        tipped=1,
        hardest=(run.impacts[-1], None),
    )
    write_run(dataclasses.replace(run, twins=twins), tmp_path / "run.h5")
    back = snapsim.read_run(tmp_path / "run.h5").twins
    assert repr(back) == repr(twins)  # nan is not equal to itself


def test_a_run_without_impacts_reads_back_exactly(make_run, tmp_path):
    run = make_run(impacts=0, frames=1)
    write_run(run, tmp_path / "run.h5")
    assert same(snapsim.read_run(tmp_path / "run.h5"), run)


PRINTABLE = st.text(st.characters(exclude_categories=["C", "Z"]), min_size=1, max_size=15)


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=25)
@given(name=PRINTABLE.filter(lambda n: n not in ("magnet", "world")))
def test_any_printable_body_name_reads_back(name, make_run, tmp_path_factory):
    run = make_run(part=name, frames=2, cells=2)
    path = tmp_path_factory.mktemp("runs") / "run.h5"
    write_run(run, path)
    assert same(snapsim.read_run(path), run)


@pytest.mark.parametrize("name", ["a/b", ".", "..", "/", "50% iron", "%2F", "Größe ∅ 5", "a b"])
def test_awkward_body_names_read_back(name, make_run, tmp_path):
    run = make_run(part=name, frames=2, cells=2)
    write_run(run, tmp_path / "run.h5")
    assert same(snapsim.read_run(tmp_path / "run.h5"), run)


def test_the_file_has_the_agreed_layout(run, tmp_path):
    write_run(run, tmp_path / "run.h5")
    with h5py.File(tmp_path / "run.h5") as file:
        for name, borne in run.bearing.items():
            assert file["loads"][name]["force"][:].tolist() == borne[:, 0].tolist()
            assert file["loads"][name]["torque"].dims[0].keys() == ["time"]
        assert set(file) >= {"scene", "time", "bodies", "impacts", "loads", "energy"}
        assert set(file["scene"]) >= {"source", "resolved", "versions"}
        assert len(file["scene"].attrs["content_hash"]) == 64
        assert "numpy" in file["scene/versions"].attrs
        motion = {"position", "quaternion", "velocity", "spin", "force", "torque"}
        assert set(file["bodies/magnet"]) == motion
        assert set(file["bodies/ball"]) == motion | {"cells", "magnetisation"}
        assert set(file["bodies/ball/cells"]) >= {"position", "volume"}
        assert file["bodies/ball/position"].shape == (50, 3)
        assert file["bodies/ball/magnetisation"].shape == (50, 30, 3)


def test_every_dataset_has_units_a_description_and_named_dimensions(run, tmp_path):
    write_run(run, tmp_path / "run.h5")
    found = datasets(tmp_path / "run.h5")
    assert len(found) > 40
    for name, (value, words, labels) in found.items():
        assert words["units"], name
        assert words["description"], name
        is_scale = name == "time" or name.startswith("scales/") or name.endswith("number")
        if np.ndim(value) and not is_scale:
            assert labels[0], name
    with h5py.File(tmp_path / "run.h5") as file:
        assert file["bodies/ball/position"].dims[0][0] == file["time"]
        assert file["bodies/ball/position"].dims[1].label == "axis"
        assert file["bodies/ball/position"].attrs["units"] == "m"


def test_a_file_of_an_earlier_version_reads_without_what_it_lacks(run, tmp_path):
    """Format 1 gained columns: blows' areas and stresses, torques, reasons, works."""
    write_run(run, tmp_path / "run.h5")
    with edited(tmp_path / "run.h5") as file:
        for name in ("area", "edge_stress", "magnet_strength"):
            del file["impacts"][name]
        for load in file["loads"].values():
            del load["torque_time"], load.attrs["why"], load.attrs["why_code"]
        del file["energy/work"], file["energy/audit/field_work"], file["energy/audit/all_work"]
    old = snapsim.read_run(tmp_path / "run.h5")
    assert np.isnan(old.impacts[0].magnet_strength)
    assert old.impacts[0].peak_force[1] == run.impacts[0].peak_force[1]
    assert old.loads["string"].why is None
    assert old.work == {}
    assert np.isnan(old.audit.field_work)


@pytest.mark.parametrize("reason", sorted(OUTCOMES))
def test_why_a_run_ended_reads_back_and_stands_in_words_beside_its_code(run, tmp_path, reason):
    write_run(dataclasses.replace(run, ending=ended(reason, 7.125)), tmp_path / "run.h5")
    assert snapsim.read_run(tmp_path / "run.h5").ending == ended(reason, 7.125)
    with h5py.File(tmp_path / "run.h5") as file:
        assert file.attrs["reason_code"] == reason.value
        assert file.attrs["reason"] == ending_words(ended(reason, 7.125))


@pytest.mark.parametrize("code", [None, "struck_by_lightning"])
def test_words_of_an_older_or_newer_file_stand_and_are_written_again(run, tmp_path, code):
    write_run(run, tmp_path / "run.h5")
    with edited(tmp_path / "run.h5") as file:
        file.attrs["outcome"], file.attrs["reason"] = "stopped", "it went from the scene"
        del file.attrs["reason_code"]
        load = file["loads/string"].attrs
        load["why"] = "it tore"
        del load["why_code"]
        if code is not None:
            file.attrs["reason_code"] = load["why_code"] = code
    for again in ("run.h5", "second.h5"):
        old = snapsim.read_run(tmp_path / again)
        assert (old.outcome, old.reason) == ("stopped", EndReason.UNTOLD)
        assert snapsim.summary(old)["reason"] == "it went from the scene"
        assert snapsim.summary(old)["loads"]["string"]["parted_why"] == "it tore"
        write_run(old, tmp_path / "second.h5", force=True)


def test_what_two_meshes_say_is_kept_as_a_code_and_said_in_words(run, tmp_path):
    facts = {"meshes_code": Meshes.SNAPS_DIFFER.value, "cells": 256.0, "coarse_cells": 32.0}
    facts |= {"fine_snapping": "ball", "coarse_snapping": ""}
    given = dataclasses.replace(run, accuracy=facts)
    write_run(given, tmp_path / "run.h5")
    found = snapsim.read_run(tmp_path / "run.h5")
    assert found.accuracy == facts
    words = "outcome depends on the mesh: on 256 cells ball snaps, on 32 cells nothing snaps"
    assert snapsim.summary(found)["accuracy"]["meshes"] == words
    with h5py.File(tmp_path / "run.h5") as file:
        assert file["accuracy"].attrs["meshes"] == words


def test_the_same_run_gives_the_same_datasets_whatever_the_wall_time(make_run, tmp_path):
    write_run(make_run(wall=1.0), tmp_path / "a.h5")
    write_run(make_run(wall=2.0), tmp_path / "b.h5")
    a, b = datasets(tmp_path / "a.h5"), datasets(tmp_path / "b.h5")
    assert list(a) == list(b)
    for name in a:
        np.testing.assert_array_equal(a[name][0], b[name][0])
    with h5py.File(tmp_path / "a.h5") as file:
        assert file["cost"].attrs["wall_s"] == 1.0


def test_an_existing_file_is_kept_unless_forced(run, tmp_path):
    target = tmp_path / "run.h5"
    target.write_text("precious")
    with pytest.raises(OutputError, match=r"exists already; use --force"):
        write_run(run, target)
    assert target.read_text() == "precious"
    write_run(run, target, force=True)
    assert same(snapsim.read_run(target), run)


def test_a_missing_directory_is_one_line(run, tmp_path):
    with pytest.raises(OutputError, match="does not exist; create it first"):
        write_run(run, tmp_path / "none" / "run.h5")


def test_a_directory_as_target_is_one_line(run, tmp_path):
    with pytest.raises(OutputError, match="is a directory"):
        write_run(run, tmp_path, force=True)


def test_an_unwritable_directory_is_one_line(run, tmp_path, monkeypatch):
    # root may write anywhere, so the answer of the system is put in its mouth
    monkeypatch.setattr(os, "access", lambda *_: False)
    with pytest.raises(OutputError, match="cannot be written to"):
        write_run(run, tmp_path / "run.h5")


def test_a_disk_that_fills_leaves_the_old_file_and_no_rubbish(run, tmp_path, monkeypatch):
    target = tmp_path / "run.h5"
    target.write_text("precious")

    def full(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(OutputError, match="No space left on device"):
        write_run(run, target, force=True)
    assert target.read_text() == "precious"
    assert os.listdir(tmp_path) == ["run.h5"]


def test_an_interrupt_while_writing_leaves_nothing(run, tmp_path, monkeypatch):
    def interrupt(*_):
        raise KeyboardInterrupt

    monkeypatch.setattr(os, "fsync", interrupt)
    with pytest.raises(KeyboardInterrupt):
        write_run(run, tmp_path / "run.h5")
    assert os.listdir(tmp_path) == []


@pytest.mark.parametrize("share", [0.0, 0.001, 0.1, 0.5, 0.9, 0.999])
def test_a_file_cut_short_is_one_clear_line(share, run, tmp_path):
    target = tmp_path / "run.h5"
    write_run(run, target)
    whole = target.read_bytes()
    target.write_bytes(whole[: int(share * len(whole))])
    with pytest.raises(InputError, match=r"run\.h5: is (cut short|no HDF5 file|damaged)") as caught:
        snapsim.read_run(target)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize("sealed", [True, False])
def test_flipped_bytes_are_found_and_without_a_hash_do_no_harm(sealed, run, tmp_path):
    target = tmp_path / "run.h5"
    write_run(run, target)
    whole = bytearray(target.read_bytes())
    if not sealed:
        whole[:BLOCK] = bytes(BLOCK)
    for place in np.random.default_rng(5).integers(BLOCK, len(whole), 40):
        spoilt = bytearray(whole)
        spoilt[place] ^= 0xFF
        target.write_bytes(spoilt)
        said = ""
        try:
            snapsim.read_run(target)
        except InputError as error:
            said = str(error)
        assert "\n" not in said
        assert not sealed or "does not match its hash" in said


def test_zeroed_blocks_are_found_at_once(run, tmp_path):
    # the HDF5 library may look for the end of a zeroed heap for tens of seconds
    target = tmp_path / "run.h5"
    write_run(run, target)
    whole = bytearray(target.read_bytes())
    whole[4096:12288] = bytes(8192)
    target.write_bytes(whole)
    with pytest.raises(InputError, match="does not match its hash"):
        snapsim.read_run(target)


def test_a_disk_that_fills_while_writing_is_one_line(run, tmp_path):
    # /dev/full answers every write with ENOSPC (Linux, full(4))
    def fill():
        with whole_file(tmp_path / "run.h5", force=False) as temporary:
            temporary.symlink_to("/dev/full")
            write_content(run, temporary)

    with pytest.raises(OutputError, match="No space left on device"):
        fill()
    assert os.listdir(tmp_path) == []


def _to_another_file(file, path):
    del file["time"]
    file["time"] = h5py.ExternalLink(path, "/time")


def _to_another_name(file, path):
    del file["gap"]
    file["gap"] = h5py.SoftLink("/time")


def _kept_elsewhere(file, path):
    del file["gap"]
    file.create_dataset("gap", (4,), "f8", external=[(path, 0, 32)])


def _put_together(file, path):
    layout = h5py.VirtualLayout((len(file["time"]),), "f8")
    layout[:] = h5py.VirtualSource(path, "time", file["time"].shape)
    del file["gap"]
    file.create_virtual_dataset("gap", layout)


def _larger_than_the_file(file, path):
    del file["gap"]
    file.create_dataset("gap", (300_000_000,), "f8")  # 2.4 GB declared, nothing stored


def _one_short(file, path):
    values = file["gap"][:-1]
    del file["gap"]
    file["gap"] = values


def _backwards(file, path):
    values = file["time"][()][::-1]
    file["time"][...] = values


@pytest.mark.parametrize(
    ("spoil", "said"),
    [
        (_to_another_file, "links to data elsewhere"),
        (_to_another_name, "links to data elsewhere"),
        (_kept_elsewhere, "holds data kept in other files"),
        (_put_together, "holds data kept in other files"),
        (_larger_than_the_file, "/gap is larger than the file can hold"),
        (_one_short, "gap has [0-9]+ entries at [0-9]+ times"),
        (_backwards, "its times do not follow each other"),
    ],
)
def test_a_crafted_file_is_refused(spoil, said, run, tmp_path):
    target, other = tmp_path / "run.h5", tmp_path / "other.h5"
    write_run(run, target)
    write_run(run, other)
    with edited(target) as file:
        spoil(file, str(other))
    with pytest.raises(InputError, match=said):
        snapsim.read_run(target)


@pytest.mark.parametrize("name", ["magnetisation", "spin"])
def test_a_flipped_byte_in_packed_and_in_plain_numbers_is_found(name, run, tmp_path):
    target = tmp_path / "run.h5"
    write_run(run, target)
    with h5py.File(target) as file:
        chunk = file[f"bodies/ball/{name}"].id.get_chunk_info(0)
    spoilt = bytearray(target.read_bytes())
    spoilt[chunk.byte_offset + chunk.size // 2] ^= 0xFF
    target.write_bytes(spoilt)
    with pytest.raises(InputError, match="is damaged"):
        snapsim.read_run(target)


def test_a_foreign_hdf5_file_is_one_clear_line(tmp_path):
    with h5py.File(tmp_path / "other.h5", "w") as file:
        file["time"] = [1.0]
    with pytest.raises(InputError, match="no snapsim run"):
        snapsim.read_run(tmp_path / "other.h5")


def test_what_is_no_hdf5_file_is_one_clear_line(tmp_path):
    (tmp_path / "run.h5").write_text("title = 5")
    with pytest.raises(InputError, match="no HDF5 file"):
        snapsim.read_run(tmp_path / "run.h5")


@pytest.mark.parametrize(
    ("path", "said"), [("none.h5", "does not exist"), (".", "directory|damaged|no HDF5")]
)
def test_what_is_not_there_is_one_clear_line(path, said, tmp_path):
    with pytest.raises(InputError, match=said):
        snapsim.read_run(tmp_path / path)


@pytest.mark.parametrize("part", ["time", "scene/resolved", "bodies/ball/spin", "energy/audit"])
def test_a_missing_part_is_one_clear_line(part, run, tmp_path):
    target = tmp_path / "run.h5"
    write_run(run, target)
    with edited(target) as file:
        del file[part]
    with pytest.raises(InputError, match=rf'is damaged: "{part.split("/")[-1]}" is missing$'):
        snapsim.read_run(target)


def test_a_changed_scene_is_found_by_its_hash(run, tmp_path):
    target = tmp_path / "run.h5"
    write_run(run, target)
    with edited(target) as file:
        text = file["scene/resolved"].asstr()[()]
        file["scene/resolved"][()] = text.replace("1.35 T", "1.45 T")
    with pytest.raises(InputError, match="does not match its hash"):
        snapsim.read_run(target)


def test_a_later_format_is_refused_by_number(run, tmp_path):
    target = tmp_path / "run.h5"
    write_run(run, target)
    with edited(target) as file:
        file.attrs["format_version"] = 99
    with pytest.raises(InputError, match="format 99"):
        snapsim.read_run(target)


def test_a_path_may_be_text_or_a_path(run, tmp_path):
    write_run(run, str(tmp_path / "run.h5"))
    assert same(snapsim.read_run(str(tmp_path / "run.h5")), run)
    assert Path(tmp_path / "run.h5").stat().st_size > 0
