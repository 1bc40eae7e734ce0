"""One setup on the page: its numbers, limits, protection, inputs, and how it was computed."""

from __future__ import annotations

from html import escape
from typing import Any

from snapsim.analysis.stray_field import stray_lines
from snapsim.study.report.marks import (
    chance_line,
    chance_text,
    filled,
    quantity,
    share,
    table,
    tile,
    weight,
)

NAMES = {
    "impact_energy_J": ("kinetic energy of the worst blow", "J"),
    "effective_energy_J": ("effective energy of the worst blow", "J"),
    "speed_m_s": ("closing speed of the fastest blow", "m/s"),
    "clamp_force_N": ("pull that holds a part at a magnet where the run ends", "N"),
    "peak_force_N": ("peak force of a blow, upper bound", "N"),
    "closed_25mm_s": ("time until a gap to a magnet has closed to 25 mm", "s"),
    "closed_100mm_s": ("time until a gap to a magnet has closed to 100 mm", "s"),
    "string_load_N": ("load of a string", "N"),
    "fixed_load_N": ("sustained load of a fixed body", "N"),
    "edge_stress": ("stress at a magnet's edge, share of its strength, upper bound", "1"),
}


def called(row: dict[str, Any]) -> str:
    """Return what a row is called."""
    name: str = row["study"] if row["setup"] == "as given" else row["setup"]
    return name


def change_first(row: dict[str, Any]) -> str:
    """Return the input that weighs most, as a person would say it."""
    inputs = row["inputs"]["inputs"]
    return spoken(inputs[0]["key"]) if inputs else "nothing stands out"


def spoken(key: str) -> str:
    """Return a scene key in words: the thing, then what of it."""
    plain = key.replace('"', "")
    for start in ("body.", "material.", "joint."):
        if plain.startswith(start):
            name, _, what = plain.removeprefix(start).rpartition(".")
            if what in "xyz" and "." in name:
                name, _, kind = name.rpartition(".")
                what = f"{kind} {what}"
            return f"{name}: {what}".replace(".", " ").replace("_", " ")
    return plain.replace(".", ": ", 1).replace("_", " ")


def setup_section(row: dict[str, Any], number: int) -> str:
    """Return the section of one row of the table."""
    parts = [
        f"<section class='setup' id='setup-{number}'><div class='over'>Setup {number}</div>",
        f"<h2>{escape(called(row))}</h2>",
        f"<p class='soft'>{escape(row['scene'])}, {row['runs']:,} runs</p>",
        _tiles(row),
        "".join(chance_line(f, c) for f, c in row["chances"].items() if c["chance"] is not None),
        _rare(row),
        _limits(row),
        _protection(row),
        _inputs(row),
        _hands(row),
        _stray(row),
        _details(row),
        "</section>",
    ]
    return "\n".join(p for p in parts if p)


def _tiles(row: dict[str, Any]) -> str:
    measures, found = row["measures"], []
    flag, first = next(iter(row["chances"].items()))
    if first["chance"] is not None:
        what = f"chance: {flag.replace('_', ' ')}"
        found.append(tile(f"{share(first['chance'])} %", what, first["chance"] > 0))
    for key, what in (
        ("effective_energy_J", "effective energy that 1 run in 20 exceeds"),
        ("speed_m_s", "closing speed that 1 run in 20 exceeds"),
        ("clamp_force_N", "pull at the magnet that 1 run in 20 exceeds"),
        ("closed_25mm_s", "until 25 mm have closed, 1 run in 20 is faster"),
    ):
        if key in measures:
            value, unit = measures[key]["p95"], NAMES[key][1]
            late = key == "closed_25mm_s" and value < 0.2
            found.append(tile(quantity(value, unit), what, late))
    return f"<div class='tiles'>{''.join(found)}</div>"


def bound_text(limit: dict[str, Any]) -> str:
    """Return a limit's value in words."""
    sign = "at most" if limit["side"] == "most" else "at least"
    return f"{sign} {quantity(limit['bound'], limit['unit'])}"


def _limits(row: dict[str, Any]) -> str:
    """Every limit in a line, those exceeded most often first."""
    ordered = sorted(row["limits"], key=lambda x: -x["exceeded_in"] / max(1, x["of"]))
    return (
        f"<h3>Against published limits</h3>{''.join(_limit(x) for x in ordered)}"
        "<p class='soft'>A limit that was not exceeded in these runs shows no safety.</p>"
    )


def _limit(limit: dict[str, Any]) -> str:
    kind = "said beyond" if limit["exceeded_in"] else "said"
    judged = not limit["says"].startswith("not judged")
    says = limit["says"].split(": ")[-1].split(";")[0] if judged else limit["says"]
    return (
        f"<div class='limit'><div>{escape(limit['name'])} <span class='soft'>"
        f"{escape(bound_text(limit))}; {escape(limit['standard'])}</span></div>"
        f"{filled(limit['exceeded_in'] / max(1, limit['of']))}"
        f"<div class='{kind}'>{escape(says)}</div></div>"
    )


def _protection(row: dict[str, Any]) -> str:
    if not row["protection"]:
        return ""
    pills = "".join(
        f"<li class='no'>{escape(p['equipment'])} is not enough"
        f" ({p['exceeded_in']} of {p['of']})</li>"
        if p["not_enough"]
        else f"<li>{escape(p['equipment'])}: {escape(p['says'].split(';')[0])}</li>"
        for p in row["protection"]
    )
    return (
        f"<h3>Protection</h3><ul class='pills'>{pills}</ul>"
        "<p class='soft'>Rated for an energy or a force, not for a magnet; none of it makes a setup"
        " safe.</p>"
    )


def _inputs(row: dict[str, Any]) -> str:
    inputs = row["inputs"]
    if not inputs["inputs"]:
        return ""
    sobol = "total" in inputs["inputs"][0]
    lines = []
    for i in inputs["inputs"]:
        value = i["total"] if sobol else i["correlation"]
        lines.append(
            f"<div class='weigh'><span class='key-name'>{escape(spoken(i['key']))}</span>"
            f"{weight(value, signed=not sobol)}<span class='said'>{value:.2f}</span></div>"
        )
    what = (
        "Total Sobol index: share of the energy's variance that goes when all else is known."
        if sobol
        else "Rank correlation with the effective energy: right, more of it strikes harder; left,"
        " less of it does."
    )
    return f"<h3>Which input to change first</h3><p class='soft'>{what}</p>{''.join(lines)}"


def _rare(row: dict[str, Any]) -> str:
    rare = row.get("rare")
    if not rare:
        return ""
    name, unit = NAMES.get(rare["measure"], (rare["measure"], "1"))
    sign = "above" if rare["side"] == "most" else "below"
    chance = f"{rare['chance']:.2g} ({rare['low']:.2g} to {rare['high']:.2g}, 95 %)"
    if not rare["settled"]:
        chance = f"not settled; at most about {rare['chance']:.2g} was reached"
    return (
        f"<h3>Chance of a rare event</h3><p>{escape(name)} {sign}"
        f" {escape(quantity(rare['bound'], unit))}: <b>{escape(chance)}</b></p>"
        f"<p class='soft'>Subset simulation, {rare['runs']:,} runs, interval from"
        f" {len(rare['replicates'])} replicates.</p>"
    )


def _hands(row: dict[str, Any]) -> str:
    if not row["hands"]:
        return (
            "<p class='soft'>The scene marks no place of a hand ([[hand]]): no pinch is judged.</p>"
        )
    body = [
        (
            name,
            f"{1e3 * h['gap_m']:g} mm",
            chance_text(h["closes"]),
            chance_text(h["before_reaction"]),
        )
        for name, h in row["hands"].items()
    ]
    head = ("hand at", "gap", "gap closes", "faster than 0.2 s of reaction")
    return "<h3>Where a hand could be</h3>" + table(head, body)


def _stray(row: dict[str, Any]) -> str:
    if not row["stray_field"]:
        return ""
    lines = "".join(f"<li>{escape(line)}</li>" for line in stray_lines(row["stray_field"]))
    return (
        f"<details><summary>Stray field of the scene as written</summary><ul>{lines}</ul></details>"
    )


def _details(row: dict[str, Any]) -> str:
    body = []
    for key, q in row["measures"].items():
        name, unit = NAMES[key]
        numbers = (quantity(q[k], unit) for k in ("median", "p95", "worst"))
        body.append((name, *numbers, f"{q['of']:,}"))
    head = ("of the runs that have it", "median", "1 in 20 worse", "worst", "runs")
    return (
        f"<details><summary>All numbers</summary>{table(head, body)}{_intervals(row)}{_coarse(row)}"
        f"<p class='soft'>{escape(row['program'])}</p></details>"
    )


def _intervals(row: dict[str, Any]) -> str:
    """Each chance with both intervals: of independent runs, and between the replicates."""
    body = [
        (flag.replace("_", " "), chance_text(c), _between(c), f"{c['of']:,}")
        for flag, c in row["chances"].items()
        if c["chance"] is not None
    ]
    return table(("chance of", "Wilson, 95 %", "between replicates", "runs"), body)


def _between(chance: dict[str, Any]) -> str:
    low, high = chance["replicate_low"], chance["replicate_high"]
    return "–" if low is None else f"{share(low, figures=1)}–{share(high, figures=1)} %"


def _coarse(row: dict[str, Any]) -> str:
    """What was computed with long steps, and what that costs."""
    found = row.get("coarse_first")
    if not found:
        return ""
    off = ""
    if found["energy_median"] is not None:
        off = (
            f"; effective energies differ by {share(found['energy_median'])} % (median),"
            f" {share(found['energy_worst'])} % (worst)"
        )
    return (
        f"<p class='soft'>{found['coarse']:,} runs with long steps; {found['refined']:,} made again"
        f" with the usual ones. Of {found['both_ways']:,} made both ways {found['changed']} changed"
        f" what is counted{off}.</p>"
    )
