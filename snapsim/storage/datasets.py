"""HDF5 datasets that describe themselves: units, a description, named dimensions."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import h5py
import numpy as np

from snapsim.arrays import Array

_COMPRESSED_FROM = 4096
"""Smallest size [bytes] worth packing."""


def put(
    group: h5py.Group,
    name: str,
    values: Any,
    units: str,
    description: str,
    dimensions: Sequence[tuple[str, h5py.Dataset | None]] = (),
) -> h5py.Dataset:
    """Write an array of numbers with its units; `dimensions` names each axis and its scale."""
    array = np.asarray(values)
    packing: dict[str, Any] = {}
    if array.nbytes >= _COMPRESSED_FROM:
        packing = {"compression": "gzip", "shuffle": True}  # zlib brings a checksum of its own
    elif array.ndim and array.size:
        packing = {"fletcher32": True}
    dataset = group.create_dataset(name, data=array, **packing)
    _describe(dataset, units, description, dimensions)
    return dataset


def put_text(
    group: h5py.Group,
    name: str,
    values: str | Sequence[str],
    description: str,
    dimensions: Sequence[tuple[str, h5py.Dataset | None]] = (),
) -> h5py.Dataset:
    """Write one text or a list of texts (UTF-8); its units say "text"."""
    kind = h5py.string_dtype("utf-8")
    data = values if isinstance(values, str) else np.array(list(values), dtype=object)
    dataset = group.create_dataset(name, data=data, dtype=kind)
    _describe(dataset, "text", description, dimensions)
    return dataset


def scale(dataset: h5py.Dataset, name: str) -> h5py.Dataset:
    """Make `dataset` a named dimension scale and return it."""
    dataset.make_scale(name)
    return dataset


def floats(group: h5py.Group, name: str) -> Array:
    """Read an array of float64."""
    return np.array(group[name][()], dtype=np.float64)


def text(group: h5py.Group, name: str) -> str:
    """Read one text."""
    return str(group[name].asstr()[()])


def texts(group: h5py.Group, name: str) -> list[str]:
    """Read a list of texts."""
    return [str(t) for t in group[name].asstr()[...]]


def _describe(
    dataset: h5py.Dataset,
    units: str,
    description: str,
    dimensions: Sequence[tuple[str, h5py.Dataset | None]],
) -> None:
    dataset.attrs["units"] = units
    dataset.attrs["description"] = description
    for axis, (label, axis_scale) in enumerate(dimensions):
        dataset.dims[axis].label = label
        if axis_scale is not None:
            dataset.dims[axis].attach_scale(axis_scale)
