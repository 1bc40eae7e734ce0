"""What a fit leaves for the next step: a scene with the fitted values, a study of their spreads."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any

import numpy as np
from scipy import stats

from snapsim.footage.fit.fitting import FitResult
from snapsim.footage.fit.unknowns import Unknown
from snapsim.scenario import toml_text
from snapsim.scenario.changes import apply_changes

NAME, STUDY = "fitted.toml", "fitted.study.toml"
HEAD = "Written by snapsim match:"
"""How a fitted scene begins; the author's comments follow."""


def fitted_scene(result: FitResult, folder: Path, track_file: str) -> str:
    """Return the scene with the fitted values in it, to be kept in `folder`."""
    cases, detail = result.predictor.cases, result.predictor.detail
    changes = (*result.predictor.changes(result.fitted.shares), f'run.detail="{detail}"')
    document = apply_changes(cases.document, changes, cases.file)
    _move(document, Path(cases.file).parent, folder)
    text = toml_text.rewritten(_headless(cases.scene.source), document)
    scene, tracks = Path(cases.file).name, Path(track_file).name
    return toml_text.comment(
        f"{HEAD} {scene} with values fitted to",
        f"{tracks} with {detail} cells, which they belong to. Spreads: {STUDY}",
    ) + (text if text.startswith("#") else f"\n{text}")


def _headless(text: str) -> str:
    """The scene without the head of a fit before this one."""
    lines = text.splitlines(keepends=True)
    return "".join(lines[2:]).lstrip("\n") if lines[0].startswith(f"# {HEAD}") else text


def fitted_study(result: FitResult, track_file: str) -> str | None:
    """Return a study of the fitted scene with the spreads of its values; None without any."""
    own = [k for k, u in enumerate(result.unknowns) if not u.of_camera]
    if not own:
        return None
    document: dict[str, Any] = {
        "title": f"Spreads that {Path(track_file).name} leaves",
        "note": "Normal about the fitted values, as wide as their profile likelihood intervals.",
        "scene": NAME,
        "vary": {result.unknowns[k].key: _spread(result, k) for k in own},
    }
    pairs = _correlated(result, own)
    if pairs:
        document["correlated"] = pairs
    return toml_text.comment("Written by snapsim match; ready for snapsim sweep.") + (
        toml_text.listed(document)
    )


def standard_error(result: FitResult, k: int) -> float:
    """Return the standard deviation of an unknown, in its unit, from its interval."""
    interval, unknown = result.intervals.intervals[k], result.unknowns[k]
    wide = float(stats.norm.ppf(0.5 + 0.5 * result.confidence))
    share = (interval.high - interval.low) / (2 * wide)
    return float(max(share, 1e-9) * (unknown.high - unknown.low))


def _spread(result: FitResult, k: int) -> dict[str, Any]:
    unknown = result.unknowns[k]
    value, error = unknown.value(float(result.fitted.shares[k])), standard_error(result, k)
    if unknown.relative:  # the fitted scene is scaled already
        between = [unknown.low / value, unknown.high / value]
        return {"relative": True, "normal": [1.0, error / value], "between": between}
    return {
        "normal": [_text(value, unknown), _text(error, unknown)],
        "between": [_text(unknown.low, unknown), _text(unknown.high, unknown)],
    }


def _text(value: float, unknown: Unknown) -> Any:
    return f"{value!r} {unknown.unit}" if unknown.unit else value


def _correlated(result: FitResult, own: list[int]) -> list[dict[str, Any]]:
    """Correlations of the scene's unknowns, as a study has them."""
    matrix = np.clip(result.intervals.correlation, -0.999, 0.999)
    return [
        {
            "between": [result.unknowns[j].key, result.unknowns[i].key],
            "correlation": round(float(matrix[i, j]), 6),
        }
        for n, i in enumerate(own)
        for j in own[:n]
    ]


def _move(here: Any, old: Path, new: Path) -> None:
    """Let files of meshes and curves be found from another folder."""
    if isinstance(here, list):
        for entry in here:
            _move(entry, old, new)
    elif isinstance(here, dict):
        if here.get("kind") == "mesh" and isinstance(here.get("file"), str):
            here["file"] = os.path.relpath(old / here["file"], new)
        if isinstance(here.get("curve_file"), str):
            here["curve_file"] = os.path.relpath(old / here["curve_file"], new)
        for entry in here.values():
            _move(entry, old, new)
