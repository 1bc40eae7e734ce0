"""From a study to its tasks: the scene's text, and the keys that each run changes."""

from __future__ import annotations

import re
from collections.abc import Iterator, Set
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np

from snapsim.arrays import Array
from snapsim.constants import MU_0
from snapsim.errors import InputError, label
from snapsim.parts.materials import MATERIALS
from snapsim.scenario import toml_text
from snapsim.scenario.changes import apply_changes, value_at
from snapsim.scenario.loading import scene_from_text, scene_text
from snapsim.scenario.quantities import (
    ACCELERATION,
    ANGLE,
    FIELD_STRENGTH,
    FLUX_DENSITY,
    LENGTH,
    SPEED,
    SPIN,
    parse,
    write,
)
from snapsim.scenario.resolve import describe
from snapsim.scenario.text_file import toml_document
from snapsim.simulation.system import System, find_body
from snapsim.study.distributions import Distribution
from snapsim.study.ledger import fingerprint
from snapsim.study.runner import Options, Task
from snapsim.study.sampling import MATRIX_A, RunSpot, cholesky_factor, spots
from snapsim.study.study_file import Stop, Study

_AXIS = re.compile(r"(.+)\.([xyz])")
_NUMBER = re.compile(r"(?<![\^\w.*+-])([+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?)")


@dataclass(frozen=True)
class Cases:
    """A study made ready: the scene as text, with the built-in materials it varies written out."""

    study: Study
    text: str
    file: str
    document: dict[str, Any]
    identity: dict[str, str]
    scene: System

    def changes(self, spot: RunSpot, shares: Array) -> tuple[str, ...]:
        """Return the "key=value" texts of one run."""
        found = [_change(k, v) for k, v in self.study.set.items()]
        if self.study.setup:
            found += [_change(k, v) for k, v in self.study.setup[spot.setup].set.items()]
        drawn = self.values(shares)
        whole = apply_changes(self.document, found, self.file)
        for key, value in drawn.items():
            name, written = self._written(whole, key, value)
            found.append(_change(name, written))
        return tuple(found)

    def values(self, shares: Array) -> dict[str, Any]:
        """Return each varied key's number, in the unit of its distribution, or listed value."""
        pairs = zip(self.study.vary.items(), shares, strict=True)
        return {key: spread.at(float(u)) for (key, spread), u in pairs}

    def tasks(self, options: Options, numbers: Set[int] | None = None) -> Iterator[Task]:
        """Yield every run, or those of the `numbers`."""
        for spot, shares in spots(self.study):
            if numbers is None or spot.number in numbers:
                yield self.task(spot, shares, options)

    def task(self, spot: RunSpot, shares: Array, options: Options) -> Task:
        """Return one run."""
        changes, places = self.changes(spot, shares), self.study.placements()
        first = spot.matrix == MATRIX_A and spot.replicate == 0 and spot.sample < self.study.twins
        options = replace(options, twin=True) if first and self.study.rare is None else options
        return Task(spot.number, self.text, self.file, changes, places, options)

    def _written(self, document: dict[str, Any], key: str, value: Any) -> tuple[str, Any]:
        """Return the scene's key and value; one of three numbers is put between the others."""
        spread = self.study.vary[key]
        match = _AXIS.fullmatch(key)
        if match is not None and isinstance(held := value_at(document, match[1], self.file), str):
            name, axis = match[1], "xyz".index(match[2])
            three = _with_component(held, axis, value, spread, f"vary.{key}", self.file)
            _put(document, name, three)
            return name, three
        if spread.relative:
            return key, _scaled(value_at(document, key, self.file), value, key, self.file)
        return key, f"{value!r} {spread.unit}" if spread.unit else value


def cases(study: Study, file: str) -> Cases:
    """Read the study's scene and try its middle; raises InputError for what cannot be."""
    path = Path(file).parent / study.scene
    try:
        text = scene_text(str(path))
    except InputError as error:
        raise InputError(f'"{study.scene}" {error.message}', file=file, key="scene") from None
    document = toml_document(text, str(path))
    scene = scene_from_text(text, str(path))
    _check_names(study, scene, file)
    document = _with_materials(document, study)
    cholesky_factor(list(study.vary), study)
    whole = toml_text.write(document)
    what = study.model_dump_json(exclude={"samples", "replicates", "title", "note", "twins"})
    identity = {"scene": fingerprint(scene.resolved, whole), "study": fingerprint(what)}
    found = Cases(study, whole, str(path.absolute()), document, identity, scene)
    _try(found, file)
    return found


def _check_names(study: Study, scene: System, file: str) -> None:
    """Raise InputError for a body that the scene has not, or a load on one that is not fixed."""
    names = [b.name for b in scene.bodies]
    for number, place in enumerate(study.place, start=1):
        find_body(place.body, names, file, f"place[{number}].body")
        find_body(place.to, names, file, f"place[{number}].to")
    for name in study.count.table_load:
        key = f"count.table_load.{label(name)}"
        if not scene.bodies[find_body(name, names, file, key)].fixed:
            raise InputError("is free; only what a fixed body bears is counted", file=file, key=key)


def _try(found: Cases, file: str) -> None:
    """Read the scene with every key at its middle and near its ends: a slip shows before hours."""
    d = len(found.study.vary)
    for setup in range(max(1, len(found.study.setup))):
        middle = [0.5] * d
        for k in range(-1, 2 * d):
            shares = middle.copy()
            if k >= 0:
                shares[k // 2] = (0.001, 0.999)[k % 2]
            try:
                changes = found.changes(RunSpot(setup, 0, 0, 0), np.array(shares))
                scene_from_text(found.text, study_name(found, file), changes)
            except InputError as error:
                raise InputError(error.message, file=file, key=error.key) from None


def study_name(found: Cases, file: str) -> str:
    """Return how errors in the scene of a study are named."""
    return str(Path(file).parent / found.study.scene)


def _with_materials(document: dict[str, Any], study: Study) -> dict[str, Any]:
    """The scene with each built-in material written out that a key speaks of."""
    keys = [*study.vary, *study.set, *(k for s in study.setup for k in s.set)]
    found = dict(document)
    own = list(found.get("material", []))
    for name, material in MATERIALS.items():
        meant = any(k.startswith((f'material."{name}".', f"material.{name}.")) for k in keys)
        if meant and all(m.get("name") != name for m in own):
            own.append(describe(material).model_dump(exclude_none=True))
    return found | ({"material": own} if own else {})


def _change(key: str, value: Any) -> str:
    return f"{key}={toml_text.inline(value)}"


def _put(document: dict[str, Any], key: str, value: Any) -> None:
    document.update(apply_changes(document, [_change(key, value)], ""))


def _with_component(
    held: str, axis: int, value: Any, spread: Distribution, key: str, file: str
) -> str:
    """Put one number with its unit among three."""
    for kind in (LENGTH, SPEED, SPIN, ANGLE, ACCELERATION):
        try:
            three = list(parse(held, kind, 3))
            own = value * three[axis] if spread.relative else None
            three[axis] = own if own is not None else parse(f"{value!r} {spread.unit}", kind)[0]
        except ValueError:
            continue
        return write(tuple(three), kind)
    raise InputError(
        f'"{value} {spread.unit}" cannot stand in "{held}"; give the unit of the key',
        file=file,
        key=key,
    )


def _scaled(held: Any, factor: float, key: str, file: str) -> Any:
    """The scene's value times a factor; of a curve, the polarisation B - mu_0 H."""
    if isinstance(held, list | tuple) and held and isinstance(held[0], list | tuple):
        return [_scaled_row(h, b, factor) for h, b in held]
    if isinstance(held, str) and _NUMBER.search(held):
        return _NUMBER.sub(lambda m: repr(float(m[1]) * factor), held)
    if isinstance(held, int | float) and not isinstance(held, bool):
        return held * factor
    raise InputError(
        "is relative, but the scene gives no number there; write one in the scene",
        file=file,
        key=f"vary.{key}",
    )


def _scaled_row(field_strength: str, flux_density: str, factor: float) -> list[str]:
    h, b = _row(field_strength, flux_density)
    scaled = MU_0 * h + factor * (b - MU_0 * h)
    return [write(h, FIELD_STRENGTH), write(scaled, FLUX_DENSITY)]


@lru_cache(maxsize=1024)
def _row(field_strength: str, flux_density: str) -> tuple[float, float]:
    return parse(field_strength, FIELD_STRENGTH)[0], parse(flux_density, FLUX_DENSITY)[0]


def with_samples(study: Study, samples: int | None) -> Study:
    """Return the study with another number of samples, where one is given."""
    return study if samples is None else study.model_copy(update={"samples": samples})


def stopping(study: Study, options: Options) -> Options:
    """Return the options with what the study says of them."""
    return replace(options, counts=study.counts(), stop_at_magnet=study.stop == Stop.STRUCK)
