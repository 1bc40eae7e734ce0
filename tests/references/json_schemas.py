"""Writes `snapsim/guide/schemas/NAME.json` from objects that commands printed; then read over.

    snapsim release scene.toml --json > one.json ...
    python tests/references/json_schemas.py one.json two.json ...

Anything may be null (not known); what holds names as keys (`MAPPINGS`) takes any; keys may be added
without a new version, so none is forbidden. A key is required where every sample has it, within an
object only where `MANY` and more were seen.
"""

from __future__ import annotations

import json
import sys
from collections import defaultdict
from pathlib import Path
from typing import Any

TARGET = Path(__file__).parents[2] / "snapsim" / "guide" / "schemas"

MAPPINGS = {
    "bodies",
    "between",
    "between.*",
    "chances",
    "chapters",
    "ends",
    "fates",
    "fitted",
    "flags",
    "loads",
    "materials",
    "measures",
    "milliseconds_by_stage",
    "outputs",
    "parts",
    "source",
    "statuses",
    "tracks",
}
"""Objects whose keys are names, not words of ours."""

UNITS = {
    "_" + unit.replace("^", "").replace("/", "_").replace(" ", "_"): unit
    for unit in [
        "kg m^2",
        "m/s^2",
        "m/s",
        "rad/s",
        "deg/s",
        "kg/m^3",
        "A/m",
        "T/m",
        "S/m",
        "N m",
        "N s",
        "kg",
        "mm",
        "deg",
        "Hz",
        "Pa",
        "m^3",
        "m^2",
        "ms",
        "px",
        "J",
        "N",
        "T",
        "W",
        "A",
        "m",
        "s",
    ]
} | {"_Nm": "N m", "_Ns": "N s"}
"""What a key's ending says; the longest that fits counts."""

KINDS = {bool: "boolean", int: "integer", float: "number", str: "string"}


MANY = 5


class Seen:
    """What stood at one place of all samples."""

    def __init__(self) -> None:
        self.kinds: set[str] = set()
        self.keys: dict[str, Seen] = defaultdict(Seen)
        self.held: list[set[str]] = []
        self.items: Seen | None = None

    def add(self, value: Any, path: str) -> None:
        """Take a value in."""
        if isinstance(value, dict):
            self.kinds.add("object")
            named = path in MAPPINGS or path.rpartition(".")[2] in MAPPINGS
            self.held.append(set() if named else set(value))
            for key, inner in value.items():
                name = "*" if named else key
                self.keys[name].add(inner, f"{path}.{name}" if path else name)
        elif isinstance(value, list):
            self.kinds.add("array")
            for inner in value:
                self.items = self.items or Seen()
                self.items.add(inner, f"{path}[]")
        else:
            self.kinds.add(KINDS.get(type(value), "null"))

    def schema(self, name: str) -> dict[str, Any]:
        """The JSON Schema of what was seen."""
        kinds = self.kinds | {"null"}
        if "number" in kinds or unit_of(name):
            kinds = {"number" if kind == "integer" else kind for kind in kinds}
        if kinds <= {"null"}:
            return described(name, {})
        found: dict[str, Any] = {"type": sorted(kinds)}
        if "object" in kinds:
            self._object(found)
        if "array" in kinds and self.items is not None:
            found["items"] = self.items.schema("")
        return described(name, found)

    def _object(self, found: dict[str, Any]) -> None:
        if "*" in self.keys:
            found["additionalProperties"] = self.keys["*"].schema("")
            return
        found["properties"] = {k: seen.schema(k) for k, seen in sorted(self.keys.items())}
        always = set.intersection(*self.held) if self.held else set()
        if always and len(self.held) >= MANY:
            found["required"] = sorted(always)


def unit_of(name: str) -> str | None:
    """The unit that a key ends in."""
    fitting = [ending for ending in UNITS if name.endswith(ending)]
    return UNITS[max(fitting, key=len)] if fitting else None


def described(name: str, schema: dict[str, Any]) -> dict[str, Any]:
    """A schema with what its key's name says."""
    if unit := unit_of(name):
        return {"description": unit, **schema}
    if name.endswith("_code"):
        return {"description": "for programs", **schema}
    return schema


def main(files: list[str]) -> None:
    """Write the schema of each kind of object among the samples."""
    samples: dict[str, list[dict[str, Any]]] = defaultdict(list)
    for file in files:
        text = Path(file).read_text(encoding="utf-8")
        if text.strip():
            sample = json.loads(text)
            samples[sample.get("schema", "").removeprefix("snapsim ")].append(sample)
    for what, found in sorted(samples.items()):
        if not what:
            continue
        seen = Seen()
        for sample in found:
            seen.add(sample, "")
        body = seen.schema("") | {"type": "object"}
        body["properties"]["schema"] = {"const": f"snapsim {what}"}
        body["properties"]["version"] = {"const": found[0]["version"]}
        body["required"] = sorted({"schema", "version", *set.intersection(*map(set, found))})
        head = {
            "$schema": "https://json-schema.org/draft/2020-12/schema",
            "title": f"snapsim {what}, version {found[0]['version']}",
        }
        text = json.dumps(head | body, indent=1, ensure_ascii=False)
        (TARGET / f"{what}.json").write_text(text + "\n", encoding="utf-8")
        print(what, len(found), len(text))


if __name__ == "__main__":
    main(sys.argv[1:])
