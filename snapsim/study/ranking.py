"""The hazard table of sweeps: chances, energies, times, each against its published limit.

One row a setup. Nothing is rolled into one score: rows stand in order of the chance of a snap, then
of the energy that one run in twenty exceeds. Quantiles are those of the runs that were done (linear
between order statistics); overlapping, failed and untrusted runs are counted beside them. A flag
that is up in an untrusted run counts in the chance, one that is not up is not known there.
"""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from os import PathLike, fspath
from typing import Any

import numpy as np
from scipy import stats

from snapsim.analysis.cautions import CAUTIONS
from snapsim.analysis.figures import number
from snapsim.arrays import Array
from snapsim.errors import InputError
from snapsim.study.both_ways import differences, latest
from snapsim.study.chance import chance
from snapsim.study.hazard_limits import Limit, Standard, described, standards
from snapsim.study.ledger import read_ledger
from snapsim.study.limit_verdict import by_cells_words, verdict, verdict_words
from snapsim.study.made_twice import repeats
from snapsim.study.outcome_row import is_outcome
from snapsim.study.rare_event import rare_chance
from snapsim.study.sampling import FIRST_AB, MATRIX_A, MATRIX_B, RunSpot, spots
from snapsim.study.sensitivity import sobol_indices
from snapsim.study.study_file import Study, setups, study_from_text

MEASURES = (
    "impact_energy_J",
    "effective_energy_J",
    "speed_m_s",
    "clamp_force_N",
    "peak_force_N",
    "closed_25mm_s",
    "closed_100mm_s",
    "notice_25mm_s",
    "notice_100mm_s",
    "string_load_N",
    "fixed_load_N",
    "edge_stress",
    "chip_chance",
    "hand_blow_force_N",
    "light_blow_energy_J",
    "falling_blow_energy_J",
)
SHORTER_IS_WORSE = {"closed_25mm_s", "closed_100mm_s", "notice_25mm_s", "notice_100mm_s"}
REACTION = 0.2
"""A person's reaction to something seen [s] (from memory)."""

AIM = "effective_energy_J"
"""The measure whose spread is traced back to the inputs."""


@dataclass(frozen=True)
class _Run:
    spot: RunSpot
    inputs: dict[str, Any]
    result: dict[str, Any]

    @property
    def drawn(self) -> bool:
        """Whether it is a sample of the study's own spread: A and B are, AB shares their rows."""
        return self.spot.matrix in (MATRIX_A, MATRIX_B)


def rank(
    folders: Iterable[str | PathLike[str]], house_limits: Iterable[str] = ()
) -> dict[str, Any]:
    """Return the hazard table of sweeps as JSON data: "rows", "order", "cautions".

    Raises InputError for a directory without a sweep, or a house limit that cannot be read.
    """
    against = standards(house_limits)
    rows = [row for folder in folders for row in _rows(fspath(folder), against)]
    rows.sort(key=lambda r: (-_foremost(r), -_high(r)))
    return {
        "order": "chance of what the study counts first, then effective energy at 95 %",
        "rows": rows,
        "reaction_time_s": REACTION,
        "cautions": list(CAUTIONS),
    }


def _foremost(row: dict[str, Any]) -> float:
    return float(next((c["chance"] or 0.0 for c in row["chances"].values()), 0.0))


def _high(row: dict[str, Any]) -> float:
    return float(row["measures"].get(AIM, {}).get("p95") or 0.0)


def _rows(folder: str, against: list[Standard]) -> list[dict[str, Any]]:
    about, results = read_ledger(folder, is_outcome)
    if "study text" not in about:
        raise InputError("holds another kind of runs, no sweep", file=folder)
    study = study_from_text(about["study text"], folder)
    runs = _runs(study, results)
    if not runs:
        raise InputError("holds no run yet; go on with snapsim sweep", file=folder)
    names = setups(study)
    groups = [(n, name, [r for r in runs if r.spot.setup == n]) for n, name in enumerate(names)]
    return [
        _row(study, folder, name, about.get("program", "unknown"), group, against)
        | {
            "stray_field": _stray_field(about),
            "rig": _noted(about, "rig"),
            "coarse_first": differences(results, [r.spot.number for r in group])
            if study.coarse_first
            else None,
            "rare": rare_chance(study, setup, results) if study.rare else None,
        }
        for setup, name, group in groups
        if group
    ]


def _stray_field(about: dict[str, str]) -> list[Any]:
    """What the ledger says of the field's reach; a table of nothing where it is damaged."""
    found = _noted(about, "stray field")
    return found if isinstance(found, list) else []


def _noted(about: dict[str, str], note: str) -> Any:
    try:
        return json.loads(about.get(note, "null"))
    except ValueError:
        return None


def _runs(study: Study, results: dict[int, dict[str, Any]]) -> list[_Run]:
    found = []
    for spot, shares in spots(study):
        if (result := latest(results, spot.number)) is not None:
            pairs = zip(study.vary.items(), shares, strict=True)
            inputs = {key: spread.at(float(u)) for (key, spread), u in pairs}
            found.append(_Run(spot, inputs, result))
    return found


def _row(
    study: Study, folder: str, name: str, program: str, runs: list[_Run], against: list[Standard]
) -> dict[str, Any]:
    drawn = [r for r in runs if r.drawn]
    done = [r for r in drawn if r.result["status"] == "done"]
    judged = done + [r for r in drawn if r.result["status"] == "untrusted"]
    limits = [_compared(s, limit, done) for s in against for limit in s.limit]
    return {
        "study": study.title or study.scene,
        "setup": name,
        "setup_named": bool(study.setup),
        "directory": folder,
        "scene": study.scene,
        "program": program,
        "runs": len(drawn),
        "planned": _planned(study),
        "statuses": dict(sorted(Counter(r.result["status"] for r in drawn).items())),
        "chances": _chances(judged, study.count.flags),
        "measures": {m: q for m in MEASURES if (q := _quantiles(m, _values(done, m)))},
        "hands": _hands(done),
        "limits": limits,
        "protection": _protection(limits),
        "inputs": _inputs(study, runs, done),
        "repeats": repeats(r.result for r in done),
        "energies_J": [v for v in _values(done, AIM).tolist() if np.isfinite(v)],
    }


def _chances(done: list[_Run], flags: Iterable[str]) -> dict[str, Any]:
    """Chance of each flag that the study counts; one that no run could judge has none."""
    found: dict[str, Any] = {}
    for flag in flags:
        known = [r for r in done if r.result["flags"].get(flag) is not None]
        groups = [r.spot.replicate for r in known]
        c = chance([r.result["flags"][flag] for r in known], groups)
        spread = c.between_replicates(len(set(groups))) or (None, None)
        found[flag] = {
            "chance": number(c.value),
            "low": c.low,
            "high": c.high,
            "of": c.runs,
            "replicate_standard_error": number(c.spread),
            "replicate_low": spread[0],
            "replicate_high": spread[1],
        }
    return found


def _values(runs: list[_Run], measure: str) -> Array:
    """A measure of each run (n,), nan where it has none."""
    values = [r.result["measures"].get(measure) for r in runs]
    return np.array([np.nan if v is None else v for v in values], dtype=np.float64)


def _quantiles(measure: str, values: Array) -> dict[str, Any] | None:
    """Median, the value one run in twenty is worse than, the worst; of the runs that have it."""
    known = values[np.isfinite(values)]
    if not len(known):
        return None
    if measure in SHORTER_IS_WORSE:
        found = {"median": np.median(known), "p95": np.quantile(known, 0.05), "worst": known.min()}
    else:
        found = {"median": np.median(known), "p95": np.quantile(known, 0.95), "worst": known.max()}
    return {k: float(v) for k, v in found.items()} | {"of": len(known)}


def _hands(done: list[_Run]) -> dict[str, Any]:
    """Per [[hand]]: chance that its gap closes, when, and the chance of faster than reaction."""
    names = list(dict.fromkeys(n for r in done for n in r.result.get("hands", {})))
    found = {}
    for name in names:
        with_it = [r for r in done if name in r.result.get("hands", {})]
        times = [(r, r.result["hands"][name]["closed_s"]) for r in with_it]
        groups = [r.spot.replicate for r, _ in times]
        quick = chance([t is not None and t < REACTION for _, t in times], groups)
        closed = chance([t is not None for _, t in times], groups)
        seconds = np.array([t for _, t in times if t is not None])
        found[name] = {
            "gap_m": with_it[0].result["hands"][name]["size_m"],
            "closes": {"chance": number(closed.value), "low": closed.low, "high": closed.high},
            "before_reaction": {
                "chance": number(quick.value),
                "low": quick.low,
                "high": quick.high,
            },
            "closed_s": _quantiles("closed_25mm_s", seconds),
        }
    return found


def _compared(standard: Standard, limit: Limit, done: list[_Run]) -> dict[str, Any]:
    found = _values(done, limit.measure)
    plainly = int(sum(limit.exceeded(v) for v in found[np.isfinite(found)]))
    # a number that its run's cells may have left too low counts with what is missing
    values = found * (1 + np.array([_low_by(r, limit.measure) for r in done]))
    known = values[np.isfinite(values)]
    beyond = int(sum(limit.exceeded(v) for v in known))
    judged = verdict(beyond, len(known))
    c = chance([bool(np.isfinite(v)) and limit.exceeded(v) for v in values], [0] * len(values))
    return {
        **described(standard, limit),
        "exceeded_in": beyond,
        "exceeded_with_snap": _with_snap(limit, values, done),
        "exceeded_by_cells_alone": beyond - plainly,
        "judged_in": len(known),
        "of": len(values),
        "low": c.low,
        "high": c.high,
        "verdict": judged,
        "says": verdict_words(
            judged, standard.equipment, beyond, len(known), len(values), limit.applies
        )
        + by_cells_words(beyond - plainly),
    }


def _low_by(run: _Run, measure: str) -> float:
    """By which share a measure of a run may be too low; 0 where nothing is known of it."""
    return float(run.result.get("low_by", {}).get(measure, 0.0))


def _with_snap(limit: Limit, values: Array, done: list[_Run]) -> int:
    """In how many of the runs beyond a limit something snapped; in the others it was a fall."""
    return sum(
        bool(np.isfinite(v) and limit.exceeded(v) and r.result["flags"].get("snap"))
        for v, r in zip(values, done, strict=True)
    )


def _planned(study: Study) -> int:
    """How many runs of the study's own spread a setup has when the sweep is whole."""
    return study.replicates * study.samples * (1 + study.sensitivities) if study.vary else 1


def _protection(limits: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """What each piece of equipment is rated for against what happened; none is called enough."""
    found = []
    for name in dict.fromkeys(x["equipment"] for x in limits if x["equipment"]):
        own = [x for x in limits if x["equipment"] == name]
        worst = max(own, key=lambda x: x["exceeded_in"])
        found.append(
            {
                "equipment": name,
                "standard": worst["standard"],
                "applies_to": worst["applies_to"],
                "not_enough": worst["exceeded_in"] > 0,
                "exceeded_in": worst["exceeded_in"],
                "judged_in": worst["judged_in"],
                "of": worst["of"],
                "verdict": worst["verdict"],
                "says": worst["says"],
            }
        )
    return found


def _inputs(study: Study, runs: list[_Run], done: list[_Run]) -> dict[str, Any]:
    """Which input to change first: Sobol indices where asked for, else rank correlations."""
    if not study.vary:
        return {"method": "nothing varied", "aim": AIM, "inputs": []}
    if study.sensitivities:
        found = _sobol(study, runs)
        if found is not None:
            return found
    return _correlations(study, done)


def _sobol(study: Study, runs: list[_Run]) -> dict[str, Any] | None:
    shape = (study.replicates, study.samples)
    table = np.full((len(study.vary) + FIRST_AB, *shape), np.nan)
    for r in runs:
        if r.result["status"] == "done":  # no blow, no energy
            value = r.result["measures"].get(AIM) or 0.0
            table[r.spot.matrix, r.spot.replicate, r.spot.sample] = value
    flat = table.reshape(len(table), -1)
    indices = sobol_indices(flat[MATRIX_A], flat[MATRIX_B], flat[FIRST_AB:], study.seed)
    if indices is None:
        return None
    rows = [
        {
            "key": key,
            "first": float(indices.first[i]),
            "first_error": float(indices.first_error[i]),
            "total": float(indices.total[i]),
            "total_error": float(indices.total_error[i]),
        }
        for i, key in enumerate(study.vary)
    ]
    rows.sort(key=lambda r: -r["total"])  # type: ignore[operator]
    return {"method": "Sobol indices", "aim": AIM, "rows": indices.rows, "inputs": rows}


def _correlations(study: Study, done: list[_Run]) -> dict[str, Any]:
    """Spearman's rank correlation of each numeric input with the energy; monotone effects only."""
    energy = np.nan_to_num(_values(done, AIM))
    rows = []
    for key in study.vary:
        drawn = [r.inputs[key] for r in done]
        if len(done) < 8 or not all(isinstance(v, int | float) for v in drawn):
            continue
        if np.ptp(energy) == 0 or np.ptp(np.array(drawn)) == 0:
            continue
        rho = float(stats.spearmanr(drawn, energy).statistic)
        rows.append({"key": key, "correlation": rho})
    rows.sort(key=lambda r: -abs(r["correlation"]))  # type: ignore[arg-type]
    return {"method": "rank correlation (Spearman)", "aim": AIM, "inputs": rows}
