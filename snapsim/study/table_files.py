"""The hazard table as a file: CSV, JSON and Parquet, each with the cautions in it."""

from __future__ import annotations

import csv
import io
import json
from os import PathLike
from typing import Any

from snapsim.analysis.json_objects import labelled
from snapsim.errors import OutputError
from snapsim.extras import require_extra

_CHANCE = ("chance", "low", "high", "replicate_low", "replicate_high")


def rank_csv(result: dict[str, Any]) -> str:
    """Return the table as CSV: one line a row, units in the headings, cautions as comments."""
    text = io.StringIO()
    flat = _flat_rows(result)
    writer = csv.DictWriter(text, list(flat[0]), lineterminator="\n")
    writer.writeheader()
    writer.writerows(flat)
    return text.getvalue() + "".join(f"# {c}\n" for c in result["cautions"])


def rank_json(result: dict[str, Any]) -> str:
    """Return the table as JSON text."""
    return (
        json.dumps(labelled("rank", result), indent=2, ensure_ascii=False, allow_nan=False) + "\n"
    )


def require_parquet() -> None:
    """Raise MissingExtra where Parquet files cannot be written."""
    require_extra("export", "Parquet", "pyarrow", key="--output")


def write_parquet(result: dict[str, Any], path: str | PathLike[str]) -> None:
    """Write the table as Parquet: the columns of the CSV, cautions and order as metadata.

    Raises InputError without pyarrow, OutputError where the file cannot be written.
    """
    require_parquet()
    import pyarrow
    import pyarrow.parquet

    table = pyarrow.Table.from_pylist(_flat_rows(result))
    about = {"cautions": "\n".join(result["cautions"]), "order": result["order"]}
    try:
        pyarrow.parquet.write_table(table.replace_schema_metadata(about), path)
    except pyarrow.ArrowException as error:
        raise OutputError(f"{path}: cannot be written: {error}") from None


def _flat_rows(result: dict[str, Any]) -> list[dict[str, Any]]:
    """The rows with every column of any, None where one has nothing."""
    flat = [_flat(row) for row in result["rows"]]
    keys = dict.fromkeys(k for row in flat for k in row)
    return [{k: row.get(k) for k in keys} for row in flat]


def _flat(row: dict[str, Any]) -> dict[str, Any]:
    flat = {k: row[k] for k in ("study", "setup", "directory", "runs", "planned")}
    flat |= {f"runs {k}": v for k, v in row["statuses"].items()}
    for flag, c in row["chances"].items():
        flat |= {f"{flag} {k}": c[k] for k in _CHANCE}
    for measure, q in row["measures"].items():
        flat |= {f"{measure} {k}": q[k] for k in ("median", "p95", "worst")}
    for limit in row["limits"]:
        flat[f"{limit['standard']}: {limit['name']}"] = limit["says"]
    if row["rare"]:
        event = f"rare: {row['rare']['measure']} beyond {row['rare']['bound']:g}"
        flat |= {f"{event} {k}": row["rare"][k] for k in ("chance", "low", "high", "settled")}
    if row["repeats"]:
        flat["made twice"] = row["repeats"]["runs"]
        every = {**row["repeats"]["flags"], **row["repeats"]["measures"]}
        flat |= {f"{name} repeats in": f"{n['same']} of {n['of']}" for name, n in every.items()}
    first = row["inputs"]["inputs"]
    return flat | {
        "protection not enough": _equipment(row, not_enough=True),
        "protection not exceeded in these runs": _equipment(row, not_enough=False),
        "change first": first[0]["key"] if first else "",
    }


def _equipment(row: dict[str, Any], not_enough: bool) -> str:
    return "; ".join(p["equipment"] for p in row["protection"] if p["not_enough"] is not_enough)
