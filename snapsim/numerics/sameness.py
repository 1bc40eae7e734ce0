"""Are two records the same, number for number? What `==` cannot say where records hold arrays."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import fields, is_dataclass
from typing import Any

import numpy as np


def same(one: Any, other: Any, without: Collection[str] = ()) -> bool:
    """Are both of one type and alike in every field, to the last bit (nan is like nan)?

    Fields named in `without` are not looked at, in the records themselves only.
    """
    if type(one) is not type(other):
        return False
    if isinstance(one, np.ndarray):
        return one.dtype == other.dtype and np.array_equal(one, other, equal_nan=True)
    if isinstance(one, float):
        return one == other or (one != one and other != other)
    if isinstance(one, tuple | list):
        return len(one) == len(other) and all(map(same, one, other))
    if isinstance(one, dict):
        return one.keys() == other.keys() and all(same(v, other[k]) for k, v in one.items())
    if is_dataclass(one):
        names = [f.name for f in fields(one) if f.name not in without]
        return all(same(getattr(one, n), getattr(other, n)) for n in names)
    return bool(one == other)
