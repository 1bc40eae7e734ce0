"""Whole studies from Python: what `sweep`, `rank`, `fate` and `match` do on the command line."""

from __future__ import annotations

import os
from collections.abc import Iterable, Mapping, Sequence
from os import PathLike, fspath
from typing import Any, Literal

from snapsim.footage.match_file import load_match, match_from
from snapsim.footage.matched import fit_and_lay, lay_footage, require_trusted
from snapsim.footage.matching import as_long_as, read_footage, require_long_enough
from snapsim.landscape.fate_map import FateMap
from snapsim.notebook.progress import stages
from snapsim.run.release import release
from snapsim.scenario.loading import load_scene, scene_text
from snapsim.study.cases import with_samples
from snapsim.study.fate_map import Slice, fate_map, resolution_of, two_spans
from snapsim.study.ranking import rank as ranked
from snapsim.study.study_file import load_study
from snapsim.study.sweep import Standing, SweepOptions
from snapsim.study.sweep import sweep as swept
from snapsim.work.progress import Progress

File = str | PathLike[str]
Shown = Progress | bool
"""True: a bar in a notebook or on a terminal; a function is called with stage, done, of all."""


def sweep(
    study: File,
    folder: File,
    workers: int | None = None,
    keep: Literal["none", "thin", "all"] = "none",
    redo: bool = False,
    samples: int | None = None,
    progress: Shown = False,
) -> Standing:
    """Compute the runs of a study file in `folder`; called again, it goes on where it stopped.

    `workers` processes, one a core if not given; `keep` run files; `samples` a replicate in place
    of the study's. Raises InputError or OutputError in one line.
    """
    wanted = with_samples(load_study(study), samples)
    options = SweepOptions(workers or os.cpu_count() or 1, keep, redo)
    with stages(progress) as tell:

        def show(standing: Standing) -> None:
            if tell is not None:
                tell("releases", standing.done, standing.total)

        return swept(wanted, fspath(study), fspath(folder), options, show)


def rank(folders: File | Iterable[File], limits: Sequence[str] = ()) -> dict[str, Any]:
    """Return the hazard table of sweeps, as `snapsim rank --json` prints it; "rows" is its table.

    `limits` are files of house limits. Raises InputError in one line.
    """
    several = [folders] if isinstance(folders, str | PathLike) else list(folders)
    return ranked([fspath(f) for f in several], limits)


def fate(
    scene: File,
    folder: File,
    first: str,
    second: str,
    *,
    on: str | None = None,
    body: str | None = None,
    resolution: str | None = None,
    grid: tuple[int, int] = (12, 12),
    detail: str = "draft",
    changes: Sequence[str] = (),
    workers: int = 1,
    limit: int = 5000,
    spots: int = 5,
    progress: Shown = False,
) -> FateMap:
    """Return what becomes of a part over two keys of a scene file, `first` across and `second`
    upward, each "KEY=FROM..TO"; releases are kept in `folder`, and what is there is not made again.

    Options as those of `snapsim fate`; `plot` draws the map. Raises InputError in one line.
    """
    across, upward = two_spans(first, second)
    step = resolution_of(resolution, across, grid[0], "resolution")
    file = fspath(scene)
    given = Slice(
        scene_text(file), file, across, upward, step, tuple(changes), body, on, detail, *grid
    )
    with stages(progress) as tell:
        return fate_map(given, fspath(folder), workers, limit, spots, progress=tell)


def match(
    scene: File,
    track: File,
    options: File | Mapping[str, Any],
    *,
    fit: bool = True,
    changes: Sequence[str] = (),
    workers: int = 1,
    progress: Shown = False,
) -> dict[str, Any]:
    """Lay tracked footage over the motion of a scene file; return what `snapsim match --json` does.

    `options` is a match file or a dictionary like one: camera, points, and what to fit. Unless
    `fit`, nothing is fitted whatever they say. Raises InputError or ComputationError in one line.
    """
    named = "options" if isinstance(options, Mapping) else fspath(options)
    document = dict(options) if isinstance(options, Mapping) else load_match(named)
    given = match_from({k: v for k, v in document.items() if fit or k != "fit"}, named)
    file = fspath(scene)
    system = load_scene(file, changes)
    filmed = read_footage(fspath(track), given, named, [b.name for b in system.bodies])
    require_long_enough(filmed, given, system.duration, file, "make the run longer")
    with stages(progress) as tell:
        if given.fit:
            return fit_and_lay(file, filmed, given, named, changes, workers, tell)[2]
        run = release(as_long_as(system, filmed, given))
        require_trusted(run, file)
        return lay_footage(filmed, given, run)[1]
