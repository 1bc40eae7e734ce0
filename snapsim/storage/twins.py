"""What a run file holds of a run's twins: how far its figures repeat."""

from __future__ import annotations

import json
from collections.abc import Mapping

import h5py
import numpy as np

from snapsim.simulation.reproducibility import Lying, Manner, Output, Twins
from snapsim.simulation.trajectory import Impact
from snapsim.storage.datasets import floats, put, put_text, scale, text, texts
from snapsim.storage.impacts import read_impacts, write_impacts


def write_twins(group: h5py.Group, twins: Twins) -> None:
    """Write what twins say into an empty group."""
    group.attrs["asked"] = twins.asked
    group.attrs["failed"] = twins.failed
    group.attrs["size"] = twins.size
    group.attrs["apart"] = twins.apart
    group.attrs["blows"] = twins.blows
    group.attrs["tipped"] = twins.tipped
    outputs = list(twins.outputs.values())
    names = put_text(group, "name", list(twins.outputs), "figures, by their keys in the JSON")
    rows = ("figure", scale(names, "figure"))
    run = put(group, "run", np.arange(twins.runs), "1", "0 the run itself, then its twins")
    values = np.array([[o.value, *o.others] for o in outputs], dtype=np.float64)
    put(
        group,
        "values",
        values.reshape(len(outputs), twins.runs),
        "1",
        "the figure in each run, SI units as its key says; nan where there is none",
        [rows, ("run", scale(run, "run"))],
    )
    sizes = np.array([o.scale for o in outputs], dtype=np.float64)
    put(group, "scale", sizes, "1", "size below which it counts as small", [rows])
    times = np.array([o.time for o in outputs], dtype=np.float64)
    put(group, "time", times, "s", "when it was settled", [rows])
    _write_hardest(group.create_group("hardest"), twins)
    put_text(group, "lying", json.dumps(_plain(twins.lying)), "how bodies ended, JSON")


def read_twins(group: h5py.Group) -> Twins:
    """Return what twins say of a run; raises KeyError, TypeError or ValueError where damaged."""
    table = floats(group, "values")
    columns = zip(table, floats(group, "scale"), floats(group, "time"), strict=True)
    outputs = {
        name: Output(float(row[0]), tuple(row[1:].tolist()), float(size), float(time))
        for name, (row, size, time) in zip(texts(group, "name"), columns, strict=True)
    }
    a = group.attrs
    return Twins(
        asked=int(a["asked"]),
        failed=int(a["failed"]),
        size=float(a["size"]),
        apart=float(a["apart"]),
        blows=int(a["blows"]),
        outputs=outputs,
        lying={
            name: tuple(
                Lying(tuple((str(b), Manner(m)) for b, m in one["touches"]), bool(one["moving"]))
                for one in runs
            )
            for name, runs in json.loads(text(group, "lying")).items()
        },
        tipped=int(a["tipped"]),
        hardest=_hardest(group["hardest"]) if "hardest" in group else (),
    )


def _write_hardest(group: h5py.Group, twins: Twins) -> None:
    """The hardest blow of each twin: `twin` counts blows of each, 0 or 1."""
    write_impacts(group, [blow for blow in twins.hardest if blow is not None])
    some = np.array([blow is not None for blow in twins.hardest], dtype=np.int64)
    put(group, "some", some, "1", "1 for each twin that has a blow, in turn; 0 for one without")


def _hardest(group: h5py.Group) -> tuple[Impact | None, ...]:
    blows = iter(read_impacts(group))
    return tuple(next(blows) if some else None for some in group["some"][()])


def _plain(lying: Mapping[str, tuple[Lying, ...]]) -> dict[str, list[dict[str, object]]]:
    return {
        name: [{"touches": one.touches, "moving": one.moving} for one in runs]
        for name, runs in lying.items()
    }
