"""What the page says of one setup, as data and words; templates/setup.html lays it out."""

from __future__ import annotations

from typing import Any, NamedTuple

from snapsim.study.limit_verdict import counted_words
from snapsim.study.report.marks import chance_text, quantity, share

NAMES = {
    "impact_energy_J": ("kinetic energy of the worst blow", "J"),
    "effective_energy_J": ("effective energy of the worst blow", "J"),
    "speed_m_s": ("closing speed of the fastest blow", "m/s"),
    "clamp_force_N": ("pull that holds a part at a magnet where the run ends", "N"),
    "peak_force_N": ("peak force of a blow, upper bound", "N"),
    "closed_25mm_s": ("time until a gap to a magnet has closed to 25 mm", "s"),
    "closed_100mm_s": ("time until a gap to a magnet has closed to 100 mm", "s"),
    "notice_25mm_s": ("notice of a gap to a magnet closing to 25 mm", "s"),
    "notice_100mm_s": ("notice of a gap to a magnet closing to 100 mm", "s"),
    "string_load_N": ("load of a string", "N"),
    "fixed_load_N": ("sustained load of a fixed body", "N"),
    "edge_stress": ("stress at a magnet's edge, share of its strength, upper bound", "1"),
    "chip_chance": ("chance that a magnet chips, upper end over assumed constants", "1"),
    "hand_blow_force_N": ("force of the worst blow had it met a hand", "N"),
    "light_blow_energy_J": ("effective energy of the worst blow of at most 130 g", "J"),
    "tiny_blow_energy_J": ("effective energy of the worst blow of at most 2.6 g", "J"),
    "falling_blow_energy_J": ("effective energy of the worst blow of a part coming down", "J"),
    "clamp_down_N": ("pull down onto something where the run ends", "N"),
    "first_blow_s": ("time of the first blow", "s"),
    "least_gap_m": ("least gap to a magnet", "m"),
}


def called(row: dict[str, Any]) -> str:
    """Return what a row is called."""
    name: str = row["setup"] if row["setup_named"] else row["study"]
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


def judged(row: dict[str, Any]) -> list[tuple[str, dict[str, Any]]]:
    """Return the chances that could be judged, by name."""
    return [(f, c) for f, c in row["chances"].items() if c["chance"] is not None]


def counted(row: dict[str, Any]) -> str:
    """Return how many runs ended how."""
    said = ", ".join(f"{n:,} {status}" for status, n in row["statuses"].items())
    missing = row["planned"] - row["runs"]
    return said + (f"; {missing:,} not computed yet" if missing > 0 else "")


class Tile(NamedTuple):
    """A number and what it is; `hot` where it warns."""

    value: str
    what: str
    hot: bool = False


def tiles(row: dict[str, Any]) -> list[Tile]:
    """Return the numbers that stand large."""
    measures, found = row["measures"], []
    if row["statuses"].get("untrusted"):
        found.append(Tile(str(row["statuses"]["untrusted"]), "runs not to be trusted", True))
    flag, first = next(iter(row["chances"].items()))
    if first["chance"] is not None:
        what = f"chance: {flag.replace('_', ' ')}"
        found.append(Tile(f"{share(first['chance'])} %", what, first["chance"] > 0))
    for key, what in (
        ("effective_energy_J", "effective energy that 1 run in 20 exceeds"),
        ("speed_m_s", "closing speed that 1 run in 20 exceeds"),
        ("clamp_force_N", "pull at the magnet that 1 run in 20 exceeds"),
        ("closed_25mm_s", "until 25 mm have closed, 1 run in 20 is faster"),
    ):
        if key in measures:
            value, unit = measures[key]["p95"], NAMES[key][1]
            late = key == "closed_25mm_s" and value < 0.2
            found.append(Tile(quantity(value, unit), what, late))
    return found


def bound_text(limit: dict[str, Any]) -> str:
    """Return a limit's value in words."""
    sign = "at most" if limit["side"] == "most" else "at least"
    return f"{sign} {quantity(limit['bound'], limit['unit'])}"


def limits(row: dict[str, Any]) -> list[dict[str, Any]]:
    """Return every limit, those exceeded most often first."""
    return sorted(row["limits"], key=lambda x: -x["exceeded_in"] / max(1, x["of"]))


def limit_said(limit: dict[str, Any]) -> str:
    """Return what came of a limit, or of what equipment is rated for, short."""
    beyond, known, runs = (limit[key] for key in ("exceeded_in", "judged_in", "of"))
    said = counted_words(limit["verdict"], beyond, known, runs, limit.get("applies_to", ""))
    snaps = limit.get("exceeded_with_snap")
    if not beyond or snaps is None or snaps == beyond:
        return said
    return f"{said}, {snaps or 'none'} of them with a snap"


class RareEvent(NamedTuple):
    """An event and its chance, in words."""

    what: str
    chance: str


def rare_event(rare: dict[str, Any]) -> RareEvent:
    """Return what a subset simulation found."""
    name, unit = NAMES.get(rare["measure"], (rare["measure"], "1"))
    sign = "above" if rare["side"] == "most" else "below"
    chance = f"{rare['chance']:.2g} ({rare['low']:.2g} to {rare['high']:.2g}, 95 %)"
    if not rare["settled"]:
        chance = f"not settled; at most about {rare['chance']:.2g} was reached"
    return RareEvent(f"{name} {sign} {quantity(rare['bound'], unit)}", chance)


def checklist(row: dict[str, Any]) -> list[str]:
    """Return what to look at before letting go, from what the scene and its runs say.

    A reminder: that all of it was looked at permits nothing.
    """
    found = [
        f"Nobody's hand at {name}; the gap there closes in {chance_text(h['closes'])} of the runs."
        for name, h in row["hands"].items()
    ]
    if not found:
        found.append(
            "The scene marks no place of a hand: where could one be? Mark it and look again."
        )
    notice = row["measures"].get("notice_25mm_s")
    if notice is not None:
        found.append(
            f"One run in twenty gives {quantity(notice['p95'], 's')} of notice or less before a"
            " finger's gap to a magnet has closed: everybody away before, not while it moves."
        )
    found += [
        f"{p['equipment']}: not enough for this." for p in row["protection"] if p["not_enough"]
    ]
    found.append("Guards in place and fastened; who stands where, and who may let go, is agreed.")
    found.append("Nobody with a pacemaker or other implant within reach of the stray field below.")
    found.append("Loose iron, tools, cards and watches are out of the stray field.")
    found.append("What to do if it snaps: nobody reaches in; how it is taken apart is prepared.")
    return found


def hands(row: dict[str, Any]) -> list[tuple[str, ...]]:
    """Return the table of places where a hand could be."""
    return [
        (
            name,
            f"{1e3 * h['gap_m']:g} mm",
            chance_text(h["closes"]),
            chance_text(h["before_reaction"]),
        )
        for name, h in row["hands"].items()
    ]


def measures(row: dict[str, Any]) -> list[tuple[str, ...]]:
    """Return the table of all measures."""
    found = []
    for key, q in row["measures"].items():
        name, unit = NAMES[key]
        numbers = (quantity(q[k], unit) for k in ("median", "p95", "worst"))
        found.append((name, *numbers, f"{q['of']:,}"))
    return found


def intervals(row: dict[str, Any]) -> list[tuple[str, ...]]:
    """Return each chance with both intervals: of independent runs, between the replicates."""
    return [
        (flag.replace("_", " "), chance_text(c), _between(c), f"{c['of']:,}")
        for flag, c in judged(row)
    ]


def _between(chance: dict[str, Any]) -> str:
    low, high = chance["replicate_low"], chance["replicate_high"]
    return "–" if low is None else f"{share(low, figures=1)}–{share(high, figures=1)} %"
