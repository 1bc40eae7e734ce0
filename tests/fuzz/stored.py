"""Spoilt run files, ledgers and stored operators: their bytes, or what they hold, hashed anew."""

from __future__ import annotations

import contextlib
import io
import json
import sqlite3
from pathlib import Path
from typing import Any

import h5py
import numpy as np

from snapsim.storage.seal import BLOCK, seal
from snapsim.study.ledger import DIGEST, _digest_of, fingerprint
from tests.fuzz.spoiling import Random, spoil_bytes, spoil_document


def spoilt_run(content: bytes, random: Random) -> tuple[bytes, bool]:
    """A run file, and whether a hash tells that it is spoilt."""
    if random.random() < 0.5:
        return spoil_bytes(content, random), True
    held = io.BytesIO(content)
    with h5py.File(held, "r+") as file:
        names: list[str] = []
        file.visit(names.append)
        for _ in range(int(random.integers(1, 3))):
            _spoil_item(file, names[int(random.integers(len(names)))], random)
    data = bytearray(held.getvalue())
    if random.random() < 0.5:
        seal(memoryview(data))
    else:  # as an earlier version wrote it
        data[:BLOCK] = bytes(BLOCK)
    return bytes(data), False


def _spoil_item(file: h5py.File, name: str, random: Random) -> None:
    if name not in file or not file.id.valid:
        return
    item = file[name]
    attributes = list(item.attrs)
    kind = int(random.integers(8))
    if kind == 0 and attributes:
        del item.attrs[attributes[int(random.integers(len(attributes)))]]
    elif kind == 1 and attributes:
        odd = [0, -1, 1e300, float("nan"), "", "x" * 300, b"\xff", np.arange(5), 2**40]
        item.attrs[attributes[int(random.integers(len(attributes)))]] = odd[
            int(random.integers(len(odd)))
        ]
    elif kind == 2:
        del file[name]
    elif kind == 3:
        del file[name]
        links = [
            h5py.ExternalLink("other.h5", "/"),
            h5py.SoftLink("/time"),
            h5py.SoftLink("/nowhere"),
        ]
        file[name] = links[int(random.integers(3))]
    elif isinstance(item, h5py.Dataset) and item.nbytes < 1 << 24:
        _spoil_dataset(file, name, item, random)


def _spoil_dataset(file: h5py.File, name: str, item: h5py.Dataset, random: Random) -> None:
    values = np.array(item[()], copy=True)
    match int(random.integers(6)):
        case 0 if values.dtype.kind == "f" and values.size:
            flat = values.reshape(-1).copy()
            odd = [np.nan, np.inf, -1.0, 0.0, 1e300]
            flat[int(random.integers(flat.size))] = odd[int(random.integers(5))]
            new: Any = flat.reshape(values.shape)
        case 1 if values.ndim:
            new = values[: int(random.integers(len(values) + 1))]
        case 2 if values.ndim and values.dtype.kind == "f":
            new = values[::-1]
        case 3:
            new = np.zeros((2, 3))
        case 4:
            del file[name]  # a size that no machine has
            file.create_dataset(name, shape=(2**36,), dtype="f8", chunks=(2**16,))
            return
        case _:
            new = b"text" if random.random() < 0.5 else np.array(["a", "b"], dtype="S1")
    del file[name]
    file[name] = new


def spoilt_ledger(path: Path, random: Random) -> bool:
    """Spoil a ledger in place; return whether hashes tell."""
    if random.random() < 0.5:
        path.write_bytes(spoil_bytes(path.read_bytes(), random))
        return True
    base = sqlite3.connect(path)
    for _ in range(int(random.integers(1, 3))):
        # a table, a column or a text went before
        with contextlib.suppress(sqlite3.Error, ValueError, TypeError, AttributeError), base:
            _spoil_rows(base, random)
    base.close()
    return False


def _spoil_rows(base: sqlite3.Connection, random: Random) -> None:
    """Change what a ledger says, with hashes that fit."""
    rows = base.execute("SELECT number, status, result FROM run").fetchall()
    about = dict(base.execute("SELECT key, value FROM about"))
    match int(random.integers(7)):
        case 0 | 1 | 2 if rows:
            number, status, text = rows[int(random.integers(len(rows)))]
            result = spoil_document(json.loads(text), random, 2)
            status = result.get("status", status)
            _put(base, number, status if isinstance(status, str) else "done", result)
        case 3 if len(about) > 1:
            key = sorted(set(about) - {DIGEST})[int(random.integers(len(about) - 1))]
            del about[key]
            _tell(base, about)
        case 4 if "study text" in about:
            study = spoil_document(json.loads(about["study text"]), random, 2)
            _tell(base, about | {"study text": json.dumps(study, default=str)})
        case 5:
            changes = [
                "DROP TABLE run",
                "DROP TABLE about",
                "ALTER TABLE run DROP COLUMN digest",
                "ALTER TABLE run RENAME COLUMN result TO results",
                "UPDATE run SET number = number + 100000",
                "DELETE FROM run",
                "UPDATE run SET result = zeroblob(100)",
                "UPDATE about SET value = zeroblob(100)",
            ]
            base.execute(changes[int(random.integers(len(changes)))])
        case _:
            base.execute("DELETE FROM run WHERE number % 2 = 0")


def _put(base: sqlite3.Connection, number: int, status: str, result: Any) -> None:
    text = json.dumps(result, sort_keys=True, default=str)
    base.execute(
        "UPDATE run SET status = ?, result = ?, digest = ? WHERE number = ?",
        (status, text, fingerprint(str(number), status, text), number),
    )


def _tell(base: sqlite3.Connection, about: dict[str, str]) -> None:
    about = {k: v for k, v in about.items() if k != DIGEST}
    base.execute("DELETE FROM about")
    base.executemany(
        "INSERT INTO about VALUES (?, ?)", (about | {DIGEST: _digest_of(about)}).items()
    )


def spoilt_operator(content: bytes, random: Random) -> bytes:
    """A stored operator: spoilt bytes, or another archive in its place."""
    if random.random() < 0.8:
        return spoil_bytes(content, random)
    held = io.BytesIO()
    arrays: list[dict[str, Any]] = [
        {},
        {"block": np.zeros(3)},
        {"blocks": np.zeros((1, 2, 2))},
        {"blocks": np.array([{"a": 1}], dtype=object)},
        {"blocks": np.array(["text"])},
    ]
    np.savez(held, allow_pickle=True, **arrays[int(random.integers(len(arrays)))])
    return held.getvalue()
