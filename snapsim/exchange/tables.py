"""A run as tables: frames, blows and loads as CSV or Parquet, units in the headings."""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping
from pathlib import Path
from typing import Any, Literal

from snapsim.analysis.cautions import CAUTIONS
from snapsim.errors import OutputError
from snapsim.simulation.trajectory import Trajectory
from snapsim.storage.columns import IMPACT, LOAD
from snapsim.study.table_files import require_parquet

TableRows = Literal["frames", "impacts", "loads"]
ROWS: tuple[TableRows, ...] = ("frames", "impacts", "loads")

_AXES = ("x", "y", "z")
_PARTS: dict[str, tuple[str, ...]] = {
    "point": _AXES,
    "normal": _AXES,
    "peak_force": ("low", "high"),
    "edge_stress": ("low", "high"),
    "chipping": ("least", "typical", "largest"),
}
"""What the numbers of a blow's vectors and bands are called."""


def table(run: Trajectory, rows: TableRows) -> dict[str, list[Any]]:
    """Return columns by heading, "blank.x_m", "closing_speed_m_s"."""
    if rows == "frames":
        return {name: values.tolist() for name, values in run.columns().items()}
    if rows == "impacts":
        records = [
            {"body": i.body, "against": i.against}
            | _flat({name: getattr(i, name) for name in IMPACT}, IMPACT, _PARTS)
            for i in run.impacts
        ]
        empty = ("body", "against", *_flat(dict.fromkeys(IMPACT, 0.0), IMPACT, _PARTS))
    else:
        records = [
            {"of": name} | _flat({key: getattr(load, key) for key in LOAD}, LOAD, {})
            for name, load in run.loads.items()
        ]
        empty = ("of", *_flat(dict.fromkeys(LOAD, 0.0), LOAD, {}))
    names = records[0] if records else empty
    return {name: [r[name] for r in records] for name in names}


def write_csv(run: Trajectory, rows: TableRows, path: Path) -> None:
    """Write one table, the cautions as comments at its end."""
    columns = table(run, rows)
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(columns)
    writer.writerows(zip(*columns.values(), strict=True))
    remarks = "".join(f"# {line}\n" for line in CAUTIONS)
    path.write_text(text.getvalue() + remarks, encoding="utf-8")


def write_parquet(run: Trajectory, rows: TableRows, path: Path) -> None:
    """Write one table, title and cautions as metadata; raises InputError without pyarrow."""
    require_parquet()
    import pyarrow
    import pyarrow.parquet

    about = {"title": run.system.title, "cautions": "\n".join(CAUTIONS)}
    found = pyarrow.table(table(run, rows)).replace_schema_metadata(about)
    try:
        pyarrow.parquet.write_table(found, path)
    except pyarrow.ArrowException as error:
        raise OutputError(f"{path}: cannot be written: {error}") from None


def _flat(
    record: dict[str, Any], units: dict[str, tuple[str, str]], parts: Mapping[str, tuple[str, ...]]
) -> dict[str, Any]:
    """One number a column: vectors by axis, bands by their ends, the unit in the name."""
    found: dict[str, Any] = {}
    for name, value in record.items():
        unit = _unit(units[name][0])
        if name not in parts:
            found[f"{name}{unit}"] = value
            continue
        values = value if hasattr(value, "__len__") else [value] * len(parts[name])
        ends = zip(parts[name], values, strict=True)
        found |= {f"{name}_{end}{unit}": float(v) for end, v in ends}
    return found


def _unit(unit: str) -> str:
    return "" if unit == "1" else "_" + unit.replace("^", "").replace("/", "_").replace(" ", "_")
