"""snapsim: what a part near a strong magnet will do when it is let go.

    scene = snapsim.example("gear-blank")  # or load_scene("scene.toml"), or Scene(bodies=[...])
    print(snapsim.force(scene)["blank"].force)  # N
    run = snapsim.release(scene)
    snapsim.plot(run)
    snapsim.write_run(run, "run.h5")
    snapsim.render_clip(run, "clip.mp4")

Everything heavy is imported by the function that needs it, or with the name that needs it.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Collection, Sequence
from importlib import import_module
from os import PathLike
from typing import TYPE_CHECKING, Any

import snapsim

if TYPE_CHECKING:
    from snapsim.arrays import Array as Array
    from snapsim.arrays import ArrayLike as ArrayLike
    from snapsim.errors import ComputationError as ComputationError
    from snapsim.errors import InputError as InputError
    from snapsim.errors import MissingSystemLibrary as MissingSystemLibrary
    from snapsim.errors import NotWritten as NotWritten
    from snapsim.errors import OutputError as OutputError
    from snapsim.errors import SnapsimError as SnapsimError
    from snapsim.exchange.files import export as export
    from snapsim.landscape.fate_map import FateMap as FateMap
    from snapsim.landscape.force import ForceReport as ForceReport
    from snapsim.landscape.joint_margin import JointMargin as JointMargin
    from snapsim.landscape.joint_rests import JointRests as JointRests
    from snapsim.landscape.look_around import AlongLine as AlongLine
    from snapsim.landscape.look_around import OverPlane as OverPlane
    from snapsim.landscape.margin import Margin as Margin
    from snapsim.landscape.rests import Rests as Rests
    from snapsim.magnetics.model import MagneticSeries as MagneticSeries
    from snapsim.notebook.figures import plot as plot
    from snapsim.notebook.studies import fate as fate
    from snapsim.notebook.studies import match as match
    from snapsim.notebook.studies import rank as rank
    from snapsim.notebook.studies import sweep as sweep
    from snapsim.notebook.view import view as view
    from snapsim.render import ClipOptions as ClipOptions
    from snapsim.render import ClipReport as ClipReport
    from snapsim.scenario.in_code import Body as Body
    from snapsim.scenario.in_code import Box as Box
    from snapsim.scenario.in_code import Compound as Compound
    from snapsim.scenario.in_code import Contact as Contact
    from snapsim.scenario.in_code import Cylinder as Cylinder
    from snapsim.scenario.in_code import Finger as Finger
    from snapsim.scenario.in_code import HexNut as HexNut
    from snapsim.scenario.in_code import Joint as Joint
    from snapsim.scenario.in_code import Material as Material
    from snapsim.scenario.in_code import Member as Member
    from snapsim.scenario.in_code import Mesh as Mesh
    from snapsim.scenario.in_code import Pair as Pair
    from snapsim.scenario.in_code import Prism as Prism
    from snapsim.scenario.in_code import Ring as Ring
    from snapsim.scenario.in_code import Scene as Scene
    from snapsim.scenario.in_code import Sphere as Sphere
    from snapsim.scenario.in_code import Stop as Stop
    from snapsim.scenario.in_code import Turn as Turn
    from snapsim.simulation.system import System as System
    from snapsim.simulation.trajectory import Trajectory as Trajectory
    from snapsim.work.first_compilation import FirstCompilation as FirstCompilation

# One thread a process: matrices here are too small to share, and releases run side by side.
# Kernels at optimisation level 1: half the compile time of level 3 and no slower when measured.
# Both are read when numpy and numba are first imported, so an importer that did so before decides.
for _name, _value in (
    ("OPENBLAS_NUM_THREADS", "1"),
    ("OMP_NUM_THREADS", "1"),
    ("MKL_NUM_THREADS", "1"),
    ("NUMBA_OPT", "1"),
):
    os.environ.setdefault(_name, _value)

_FROM = {
    "errors": (
        "ComputationError",
        "InputError",
        "MissingSystemLibrary",
        "NotWritten",
        "OutputError",
        "SnapsimError",
    ),
    "arrays": ("Array", "ArrayLike"),
    "exchange.files": ("export",),
    "landscape.fate_map": ("FateMap",),
    "landscape.force": ("ForceReport",),
    "landscape.joint_margin": ("JointMargin",),
    "landscape.joint_rests": ("JointRests",),
    "landscape.look_around": ("AlongLine", "OverPlane"),
    "landscape.margin": ("Margin",),
    "landscape.rests": ("Rests",),
    "magnetics.model": ("MagneticSeries",),
    "notebook.figures": ("plot",),
    "notebook.studies": ("fate", "match", "rank", "sweep"),
    "notebook.view": ("view",),
    "render": ("ClipOptions", "ClipReport"),
    "scenario.in_code": (
        "Body",
        "Box",
        "Compound",
        "Contact",
        "Cylinder",
        "Finger",
        "HexNut",
        "Joint",
        "Material",
        "Member",
        "Mesh",
        "Pair",
        "Prism",
        "Ring",
        "Frame",
        "Scene",
        "Sphere",
        "Stop",
        "Turn",
    ),
    "simulation.system": ("System",),
    "simulation.trajectory": ("Trajectory",),
    "work.first_compilation": ("FirstCompilation",),
}
"""Where the names are that are imported when first asked for."""

_HERE = (
    "example",
    "field",
    "force",
    "force_along",
    "force_map",
    "force_summary",
    "forces",
    "load_scene",
    "margin",
    "margin_together",
    "poses",
    "poses_together",
    "prepare",
    "read_run",
    "release",
    "render_clip",
    "summary",
    "write_run",
)
__all__ = sorted((*_HERE, *(name for names in _FROM.values() for name in names)))


def load_scene(path: str | PathLike[str], changes: Sequence[str] = ()) -> snapsim.System:
    """Read a scene file; `changes` are what-ifs like 'body.disc.rotation.angle="55 deg"'.

    Raises InputError naming file, key, what is wrong and what is allowed.
    """
    from snapsim.scenario.loading import load_scene

    return load_scene(path, changes)


def example(name: str, changes: Sequence[str] = ()) -> snapsim.System:
    """Return an example that comes with the program ("gear-blank"; `snapsim examples` lists them).

    `changes` as in `load_scene`. Raises InputError for a name that none has.
    """
    from snapsim.scenario.examples import example
    from snapsim.scenario.loading import load_scene

    return load_scene(example(name).files[0], changes)


def field(scene: snapsim.System, points: snapsim.ArrayLike) -> snapsim.Array:
    """Return B (k, 3) [T] at world points (k, 3) [m], with all bodies as placed, inside them too.

    It has no error bar, and near iron it is as good as the cells: in closed iron circuits with gaps
    of a millimetre 15 to 48 % too low at `draft`, 6 to 10 % at `normal` (two published rigs). Ask
    again at a finer `detail`: what changes by much is not known better than that. Raises InputError
    on an overlap.
    """
    from snapsim.landscape.field_at import field_at
    from snapsim.run.first_use import FIELDS_OVER_SPACE

    _make_ready(*FIELDS_OVER_SPACE)
    return field_at(scene, points)


def forces(
    scene: snapsim.System,
    body: str | None,
    position: snapsim.ArrayLike,
    quaternion: snapsim.ArrayLike | None = None,
) -> snapsim.MagneticSeries:
    """Return force, torque and energy of all bodies with one of them in many poses.

    `position` (k, 3) [m] of its centre of mass; `quaternion` (k, 4), scalar first, or (4,) for all,
    as placed where left out; the result's `force` is (k, n, 3) [N], in the order of the scene's
    bodies. Neighbours in a path cost least. Raises InputError in one line.
    """
    from snapsim.landscape.field_at import forces_in
    from snapsim.run.first_use import FIELDS_OVER_SPACE

    _make_ready(*FIELDS_OVER_SPACE)
    return forces_in(scene, body, position, quaternion)


def force(scene: snapsim.System, accuracy: bool = False) -> snapsim.ForceReport:
    """Return force and torque on every body as placed; raises InputError on an overlap.

    With `accuracy` on two meshes, error bars in the report's `accuracy`.
    """
    from snapsim.landscape.force import force
    from snapsim.run.first_use import AS_PLACED

    _make_ready(*AS_PLACED)
    return force(scene, accuracy)


def poses(
    scene: snapsim.System,
    body: str | None = None,
    starts: int = 48,
    seed: int = 1,
    progress: Callable[[str, int, int], None] | None = None,
) -> snapsim.Rests:
    """Return the resting poses of a body: stable or not, which way they leave, how firmly held.

    `body` may be left out where only one part can move. `progress` is called with what is being
    done, how much of it is done and of how much. Raises InputError for a body that is unknown or
    fixed, that nothing draws, and on an overlap.
    """
    from snapsim.landscape.rests import body_number, poses

    body_number(scene, body)
    _make_ready()
    return poses(scene, body, starts, seed, progress)


def poses_together(
    scene: snapsim.System,
    starts: int = 12,
    seed: int = 1,
    progress: Callable[[str, int, int], None] | None = None,
) -> snapsim.JointRests:
    """Return how all free bodies can rest together, their stability and what they do to each other.

    Raises InputError where fewer than two bodies are free, and on an overlap.
    """
    from snapsim.landscape.joint_rests import joint_rests

    _make_ready()
    return joint_rests(scene, starts, seed, progress)


def force_along(
    scene: snapsim.System,
    body: str | None,
    direction: snapsim.ArrayLike,
    distance: float,
    points: int = 41,
    progress: Callable[[str, int, int], None] | None = None,
    between: bool = False,
) -> snapsim.AlongLine:
    """Return force, torque and energy of a part moved from its place along a unit vector [m].

    Its orientation is kept; `body` as in `poses`. With `between` also what it feels of each body.
    """
    from snapsim.landscape.look_around import force_along
    from snapsim.run.first_use import FIELDS_OVER_SPACE

    _make_ready(*FIELDS_OVER_SPACE)
    return force_along(scene, body, direction, distance, points, progress, between)


def force_map(
    scene: snapsim.System,
    body: str | None,
    axes: tuple[int, int],
    span: tuple[float, float],
    points: int = 41,
    progress: Callable[[str, int, int], None] | None = None,
) -> snapsim.OverPlane:
    """Return force and energy of a part moved over a plane of two world axes, its place in the
    middle; `span` [m] is the width and height, `points` those of the longer side."""
    from snapsim.landscape.look_around import force_map
    from snapsim.run.first_use import FIELDS_OVER_SPACE

    _make_ready(*FIELDS_OVER_SPACE)
    return force_map(scene, body, axes, span, points, progress)


def margin(
    scene: snapsim.System,
    body: str | None = None,
    progress: Callable[[str, int, int], None] | None = None,
    ways: Collection[str] = ("lift", "approach", "push", "tilt"),
    quick: bool = False,
) -> snapsim.Margin:
    """Return how far a body is from snapping on some kinds of `ways`, and the barrier.

    What a slow fall calls safe is confirmed by releases, or taken back, unless it is to be `quick`.
    Other arguments and errors as in `poses`.
    """
    from snapsim.landscape.margin import margin
    from snapsim.landscape.rests import body_number
    from snapsim.landscape.thresholds import KINDS

    body_number(scene, body)
    _make_ready()
    kinds = [kind for kind in KINDS if kind in ways]
    if quick:
        return margin(scene, body, progress, kinds)
    from snapsim.study.confirmed_margin import confirmed_margin

    return confirmed_margin(scene, body, progress, kinds)


def margin_together(
    scene: snapsim.System, progress: Callable[[str, int, int], None] | None = None
) -> snapsim.JointMargin:
    """Return how far the free parts together are from snapping: one is moved, all are let go.

    Raises InputError where fewer than two bodies are free and drawn, and on an overlap.
    """
    from snapsim.study.joint_margin import joint_margin

    _make_ready()
    return joint_margin(scene, progress)


def release(
    scene: snapsim.System,
    progress: Callable[[float, float], None] | None = None,
    accuracy: bool = False,
    twins: int = 0,
) -> snapsim.Trajectory:
    """Let the free bodies go and return their motion; raises InputError on an overlap.

    `progress` is called with the simulated time [s] and the largest present speed [m/s]. With
    `accuracy` the release runs on a second, coarse mesh too; the result's `accuracy` has error
    bars, or says that the outcome depends on the mesh. With `twins`, as many runs begun a millionth
    otherwise say which figures repeat (the result's `twins`; None: not checked).
    """
    from snapsim.run.release_accuracy import release_with_accuracy
    from snapsim.run.twins import release_with_twins

    _make_ready()
    if accuracy:
        return release_with_accuracy(scene, progress, twins=twins)
    return release_with_twins(scene, twins, progress)


def write_run(
    trajectory: snapsim.Trajectory, path: str | PathLike[str], force: bool = False
) -> None:
    """Write a run file (HDF5), whole or not at all; raises OutputError."""
    from snapsim.storage.writing import write_run

    write_run(trajectory, path, force)


def read_run(path: str | PathLike[str]) -> snapsim.Trajectory:
    """Read a run file back exactly; raises InputError if it is missing, damaged or foreign."""
    from snapsim.scenario.loading import scene_from_text
    from snapsim.storage.reading import read_run

    return read_run(path, scene_from_text)


def summary(trajectory: snapsim.Trajectory) -> dict[str, Any]:
    """Return what `snapsim release --json` prints."""
    from snapsim.analysis.summary import summary
    from snapsim.study.answer import presenter_answer

    return {**summary(trajectory), "answer": presenter_answer(trajectory)}


def force_summary(report: snapsim.ForceReport) -> dict[str, Any]:
    """Return what `snapsim force --json` prints."""
    from snapsim.analysis.summary import force_summary

    return force_summary(report)


def render_clip(
    run: snapsim.Trajectory
    | str
    | PathLike[str]
    | Sequence[snapsim.Trajectory | str | PathLike[str]],
    path: str | PathLike[str],
    options: snapsim.ClipOptions | None = None,
    progress: Callable[[int, int], None] | None = None,
    companions: Sequence[snapsim.Trajectory | str | PathLike[str]] = (),
) -> snapsim.ClipReport:
    """Draw a run, or the run file at a path, as a 3-D clip; several are shown side by side.

    The ending of `path` chooses the format: .mp4, .webm, .gif, .mov (ProRes 4444), none for a
    folder of PNG pictures. `companions` are other runs of the scene, shown see-through; `progress`
    is called with frames done and frames in all. Raises InputError, OutputError, or
    MissingSystemLibrary where nothing can draw.
    """
    from pathlib import Path

    from snapsim.render import render_clip

    several = run if isinstance(run, list | tuple) else (run,)
    runs = tuple(_as_run(one) for one in several)
    return render_clip(runs, Path(path), options, progress, [_as_run(one) for one in companions])


def prepare(progress: Callable[[str, int, int], None] | None = None) -> snapsim.FirstCompilation:
    """Compile the kernels of this installation beforehand, at once where that was done.

    Whatever needs them does so too, which takes a minute or two once. `progress` is called with
    what is being compiled, how many parts are done and of how many; without it, a line on standard
    error says so where that is a terminal.
    """
    from snapsim.run.first_use import prepare

    return prepare(progress=progress)


def _make_ready(*needed: str) -> None:
    """Compile the kernels where this installation is new."""
    from snapsim.run.first_use import prepare

    prepare(*needed)


def _as_run(run: snapsim.Trajectory | str | PathLike[str]) -> snapsim.Trajectory:
    return read_run(run) if isinstance(run, str | PathLike) else run


def __getattr__(name: str) -> Any:
    if name == "__version__":
        from importlib.metadata import version

        return version("snapsim")
    for module, names in _FROM.items():
        if name in names:
            return getattr(import_module(f"snapsim.{module}"), name)
    raise AttributeError(f"module 'snapsim' has no attribute {name!r}")


def __dir__() -> list[str]:
    return [*__all__, "__version__"]
