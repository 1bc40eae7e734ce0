"""`snapsim rank DIR`: the hazard table of sweeps, against published limits."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from snapsim.cli.options import AsJson, ReplaceFlag
from snapsim.cli.output import emit, emit_json
from snapsim.errors import InputError
from snapsim.work.standard_streams import ending_of_name

if TYPE_CHECKING:
    from rich.console import RenderableType

_ENDINGS = (".csv", ".json", ".parquet", ".html")


RankFolders = Annotated[list[str], typer.Argument(metavar="DIR...", help="Directories of sweeps.")]
RankOutput = Annotated[
    list[str] | None,
    typer.Option("-o", "--output", metavar="FILE", help="Write .csv, .json, .parquet or .html."),
]
RankLimits = Annotated[
    list[str] | None, typer.Option(metavar="FILE", help="A house limit (TOML). Repeatable.")
]
RankTitle = Annotated[str, typer.Option(help="Title of the report.")]
RankBy = Annotated[str, typer.Option(metavar="NAME", help="Who ran it, for the report.")]


def rank(
    folders: RankFolders,
    output: RankOutput = None,
    limits: RankLimits = None,
    title: RankTitle = "",
    by: RankBy = "",
    force: ReplaceFlag = False,
    json: AsJson = False,
) -> None:
    """Chances, energies and times of sweeps, each against its published limit."""
    from snapsim.storage.whole_file import require_writable, whole_file
    from snapsim.study.ranking import rank as ranked
    from snapsim.study.table_files import require_parquet

    for path in output or ():
        if ending_of_name(path) not in _ENDINGS:
            raise InputError(
                f'"{path}" ends in no format; allowed: {", ".join(_ENDINGS)}', key="--output"
            )
        require_writable(path, force)
        if path.lower().endswith(".parquet"):
            require_parquet()
    result = ranked(folders, limits or ())
    for path in output or ():
        with whole_file(path, force) as temporary:
            _write(result, temporary, ending_of_name(path), (title, by))
    if json:
        return emit_json("rank", result)
    emit(_table(result))
    return emit(f"wrote {', '.join(output)}") if output else None


def _write(result: dict[str, Any], path: Path, ending: str, head: tuple[str, str]) -> None:
    from snapsim.study.report import about_now, report
    from snapsim.study.table_files import rank_csv, rank_json, write_parquet

    if ending == ".parquet":
        return write_parquet(result, path)
    if ending == ".html":
        text = report(result, about_now(*head))
    else:
        text = {".csv": rank_csv, ".json": rank_json}[ending](result)
    path.write_text(text, encoding="utf-8")
    return None


def _table(result: dict[str, Any]) -> RenderableType:
    from rich.console import Group
    from rich.markup import escape
    from rich.table import Table
    from rich.text import Text

    judged = (f for r in result["rows"] for f, c in r["chances"].items() if c["of"])
    flags = list(dict.fromkeys(judged))
    rows = Table("setup", "runs", *(f"{f.replace('_', ' ')}\n% (95 %)" for f in flags))
    for heading in ("effective energy J\nmedian, 95 %, worst", "change first"):
        rows.add_column(heading)
    said: list[RenderableType] = []
    for row in result["rows"]:
        name = row["setup"] if row["setup_named"] else row["study"]
        energy = row["measures"].get("effective_energy_J")
        inputs = row["inputs"]["inputs"]
        chances = [_share(row["chances"].get(f)) for f in flags]
        spread = ", ".join(f"{energy[k]:.3g}" for k in ("median", "p95", "worst")) if energy else ""
        first = inputs[0]["key"] if inputs else "-"
        rows.add_row(escape(name), str(row["runs"]), *chances, spread, escape(first))
        counted = ", ".join(f"{n} {k}" for k, n in row["statuses"].items())
        if row["runs"] < row["planned"]:
            counted += f"; {row['planned'] - row['runs']} not computed yet"
        said.append(Text(f"{name}: {counted}", style="bold"))
        said += [Text(f"  {line}") for line in _remarks(row)]
        for limit in row["limits"]:
            source = f"{limit['standard']} ({limit['edition']}), {limit['clause']}"
            said.append(Text(f"  {limit['name']}: {limit['says']} [{source}; {limit['known']}]"))
    return Group(rows, *said, *(Text(c, style="yellow") for c in result["cautions"]))


def _remarks(row: dict[str, Any]) -> list[str]:
    """What stands beside the chances: a rare event, what repeats, protection, long steps."""
    from snapsim.study.made_twice import repeat_words

    found = []
    if row["rare"]:
        r = row["rare"]
        sign = "above" if r["side"] == "most" else "below"
        settled = "" if r["settled"] else " (not settled: an upper bound)"
        found.append(
            f"{r['measure']} {sign} {r['bound']:g}: chance {r['chance']:.2g}"
            f" ({r['low']:.2g} to {r['high']:.2g}), {r['runs']} runs{settled}"
        )
    found.append(repeat_words(row["repeats"]))
    weak = [p["equipment"] for p in row["protection"] if p["not_enough"]]
    if weak:
        found.append(f"protection that is not enough: {', '.join(weak)}")
    if row["coarse_first"]:
        c = row["coarse_first"]
        found.append(
            f"{c['coarse']} runs with long steps, {c['refined']} made again;"
            f" of these {c['changed']} changed what is counted"
        )
    return found


def _share(chance: dict[str, Any] | None) -> str:
    if not chance or chance["chance"] is None:
        return "-"
    return f"{100 * chance['chance']:.0f} ({100 * chance['low']:.0f}-{100 * chance['high']:.0f})"
