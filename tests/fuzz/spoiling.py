"""Ways to spoil bytes, texts and tables, a few at a time, as disks, editors and people do."""

from __future__ import annotations

import datetime
import re
from typing import Any

import numpy as np
import tomli_w

Random = np.random.Generator

ODD: list[Any] = [
    *(0, 1, -1, 2**31, 2**63 - 1, -(2**63), 2**63, 10**30, 10**4400),
    *(0.0, -0.0, 0.5, -1.5, 1e308, 5e-324, float("inf"), float("-inf"), float("nan")),
    *(True, False, [], {}, [[]], [1, 2, 3], ["a"], [""], {"kind": "box"}, {"": 1}),
    *("", " ", "a", "x" * 3000, " " * 50_000 + "a", "\0", "\x1b[31m", "\u202e", "\U0001f9f2", "-"),
    *("0 mm", "1 mm", "-5 mm", "60 mm", "1e30 m", "1e-30 m", "1e400 m", "nan mm", "inf mm", "0.3"),
    *("0, 0, 0 mm", "0, 0, 1e9 m", "1, 2 mm", "1 x 2 x 3 mm", "1e-9 x 1 x 1 m", "0, 0, 0 m/s"),
    *("90 deg", "1e20 deg", "1 rad", "5 degC", "3 dB", "1 m*9**9**8", "1 (m", "1 __import__('os')"),
    *(
        "-z",
        "0, 0, 0",
        "1e-320, 0, 0",
        "1e200, 1e200, 0",
        "world",
        "magnet",
        "../../etc",
        "/dev/zero",
    ),
    *("1e-12 s", "1e12 s", "1e300 T", "1e-300 T", "1e300 Pa", "1e300 kg/m^3", "0 kg/m^3", "1e9 N"),
    *(
        datetime.date(2026, 1, 1),
        datetime.time(1, 2),
        10**18,
        "{}",
        "[[",
        '"',
        "'",
        "\\",
        "%s",
        "{0}",
    ),
]
"""Values that may stand where others are due."""

_NUMBER = re.compile(r"\d+(?:\.\d+)?")
_UNITS = ["mm", "m", "um", "km", "deg", "rad", "s", "T", "N", "kg", "J", "m/s", "px", "Hz", "", "x"]


def deep() -> Any:
    """Lists far too deep."""
    value: Any = 1
    for _ in range(60):
        value = [value]
    return value


def places(value: Any) -> list[tuple[Any, Any]]:
    """Every (container, key or index) of a document."""
    found: list[tuple[Any, Any]] = []
    keys: Any = value if isinstance(value, dict) else range(len(value))
    for key in list(keys):
        found.append((value, key))
        if isinstance(value[key], dict | list):
            found += places(value[key])
    return found


def spoil_document(document: dict[str, Any], random: Random, most: int = 3) -> dict[str, Any]:
    """Change up to `most` places of a document, in place."""
    for _ in range(int(min(random.geometric(0.6), most))):
        known = places(document)
        if not known:
            return document
        holder, key = known[int(random.integers(len(known)))]
        other, at = known[int(random.integers(len(known)))]
        _spoil_place(holder, key, other[at], random)
    return document


def _spoil_place(holder: Any, key: Any, other: Any, random: Random) -> None:
    """Change one place; `other` is the value of another."""
    value = holder[key]
    match int(random.integers(14)):
        case 0 | 1:
            holder[key] = ODD[int(random.integers(len(ODD)))] if random.random() < 0.98 else deep()
        case 2:
            del holder[key]
        case 3 if isinstance(holder, dict):
            holder[_typo(key, random)] = holder.pop(key)
        case 4:
            holder[key] = _copied(other)
        case 5 if isinstance(value, list):
            value[:] = value[:-1] if random.random() < 0.5 else [*value, *value]
        case 6:
            holder[key] = [value] if random.random() < 0.5 else {"kind": value}
        case _ if isinstance(value, str):
            holder[key] = spoil_quantity(value, random)
        case _ if isinstance(value, int | float) and not isinstance(value, bool):
            holder[key] = _scaled(value, int(random.integers(-3, 4)))
        case _ if isinstance(value, bool):
            holder[key] = not value
        case _ if isinstance(value, dict | list) and value:
            return
        case _:
            holder[key] = ODD[int(random.integers(len(ODD)))]


def _scaled(value: Any, power: int) -> Any:
    """A number some powers of ten larger; one that no float holds stays."""
    try:
        return type(value)(value * 10.0**power)
    except OverflowError:
        return value


def _copied(value: Any) -> Any:
    if isinstance(value, dict):
        return {k: _copied(v) for k, v in value.items()}
    return [_copied(v) for v in value] if isinstance(value, list) else value


def _typo(key: str, random: Random) -> str:
    """A key with two neighbours swapped, or a letter more."""
    at = int(random.integers(max(1, len(key) - 1)))
    if random.random() < 0.5:
        return key[:at] + key[at : at + 2][::-1] + key[at + 2 :]
    return key[:at] + "abcx.\u00e9"[int(random.integers(6))] + key[at:]


def spoil_quantity(text: str, random: Random) -> str:
    """A quantity with another number or another unit."""
    numbers = list(_NUMBER.finditer(text))
    if not numbers or random.random() < 0.2:
        return text + _UNITS[int(random.integers(len(_UNITS)))]
    if random.random() < 0.3:
        return re.sub(r"[A-Za-z]+", _UNITS[int(random.integers(len(_UNITS)))], text, count=1)
    chosen = numbers[int(random.integers(len(numbers)))]
    value = float(chosen[0]) * 10.0 ** (random.normal(0, 1) if random.random() < 0.7 else 12)
    new = ["-" + chosen[0], "nan", "inf", "0", f"{value:g}", f"{value:g}"][int(random.integers(6))]
    return text[: chosen.start()] + new + text[chosen.end() :]


def toml_bytes(document: dict[str, Any], random: Random) -> bytes:
    """A document as bytes, now and then spoilt as bytes too."""
    content = tomli_w.dumps(document).encode("utf-8", "surrogatepass")
    return spoil_bytes(content, random) if random.random() < 0.15 else content


def spoil_bytes(content: bytes, random: Random, most: int = 3) -> bytes:
    """Flip, cut, repeat, zero or swap pieces of a file."""
    data = bytearray(content)
    for _ in range(int(random.integers(1, most + 1))):
        if not data:
            break
        at = int(random.integers(len(data)))
        length = int(min(len(data) - at, 2 ** random.integers(0, 13)))
        match int(random.integers(7)):
            case 0 | 1:
                data[at] ^= 1 << int(random.integers(8))
            case 2:
                del data[at:]
            case 3:
                del data[at : at + length]
            case 4:
                data[at:at] = data[at : at + length]
            case 5:
                data[at : at + length] = bytes(length)
            case _:
                data[at:at] = random.bytes(int(random.integers(1, 40)))
    return bytes(data)


CELLS = [
    *(
        "",
        "nan",
        "-",
        "inf",
        "1e400",
        "-1e308",
        "9" * 5000,
        "1,5",
        "1.2.3",
        '"',
        '"a',
        "a\0b",
        "0x10",
    ),
    *(
        "1_000",
        "#",
        " " * 3000,
        "x" * 140_000,
        "\u0661",
        "1e-400",
        "--",
        "t",
        "x",
        "y",
        "None",
        "\t",
    ),
]


def spoil_table(text: str, random: Random, most: int = 4) -> bytes:
    """Spoil lines and cells of a table, now and then its bytes."""
    lines = text.splitlines()
    for _ in range(int(random.integers(1, most + 1))):
        at = int(random.integers(len(lines))) if lines else 0
        if not lines:
            break
        cells = lines[at].split(",")
        column = int(random.integers(len(cells)))
        match int(random.integers(8)):
            case 0 | 1 | 2:
                cells[column] = CELLS[int(random.integers(len(CELLS)))]
                lines[at] = ",".join(cells)
            case 3:
                del cells[column]
                lines[at] = ",".join(cells)
            case 4:
                lines[at] = ",".join([*cells, *cells])
            case 5:
                del lines[at]
            case 6:
                lines.insert(at, lines[int(random.integers(len(lines)))])
            case _:
                lines[at] = lines[at].replace(",", ";\t|,"[int(random.integers(4))])
    content = "\n".join(lines).encode("utf-8")
    return spoil_bytes(content, random) if random.random() < 0.2 else content
