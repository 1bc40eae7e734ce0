"""How often a fitted remanence's 95 % interval holds the truth, where the truth has finer cells.

    python tests/footage/fit/remanence_family.py FIRST LAST [FINISH [FINER]]

A case is drawn by its number: a disc, ring, nut, bar or ball of iron, let go tilted in the air
under a magnet, flies to the pole. Its footage (480 frames a second, 4 px/mm, 1 px of noise) is made
with FINER times as many cells as the fit's search has (16: edges 2.5 times shorter); the remanence
is fitted with draft cells, FINISH those of the last step ("own": what the fit takes by itself).
Prints a line a case, and how many intervals hold the truth.
"""

from __future__ import annotations

import sys
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory
from time import process_time

import numpy as np

from snapsim.footage.match_file import MatchFile, match_from
from snapsim.footage.matched import fit_and_lay
from snapsim.footage.matching import make_tracks, read_footage
from snapsim.magnetics.cells import DETAIL, mesh
from snapsim.mechanics.ending import EndReason
from snapsim.run.release import release
from snapsim.scenario.loading import scene_from_text
from snapsim.simulation.trajectory import Trajectory

FINER = 16
KINDS = ("disc", "ring", "nut", "bar", "ball")
LASTS = (0.03, 0.25)
"""Flights [s] that are kept: shorter ones have few frames, longer ones drop onto nothing."""


@dataclass(frozen=True)
class FilmedFlight:
    """A case: its scene as text, what is drawn, true remanence [T], its truth and match file."""

    text: str
    kind: str
    remanence: float
    run: Trajectory
    match: MatchFile


@dataclass(frozen=True)
class RemanenceFit:
    """What a fit came to: remanence [T] with its interval, the verdict, releases and CPU [s]."""

    truth: float
    low: float
    value: float
    high: float
    verdict: str
    releases: int
    cpu: float

    @property
    def holds(self) -> bool:
        """Is the truth within the interval?"""
        return self.low <= self.truth <= self.high


def filming(seed: int, finer: int = FINER) -> FilmedFlight:
    """Return the first drawing of a number in which the part flies to the pole."""
    rng = np.random.default_rng([seed, 19])
    kind = KINDS[seed % len(KINDS)]
    while True:
        text, remanence, point = _scene(kind, rng)
        if _strikes(_released(text, remanence, int(DETAIL["draft"]))):
            truth = _released(text, remanence, finer * DETAIL["draft"])
            return FilmedFlight(text, kind, remanence, truth, _match(seed, point, truth))


def fitted(case: FilmedFlight, finish: str | None, folder: Path) -> RemanenceFit:
    """Fit the remanence of a case to its footage."""
    began = process_time()
    scene, track = folder / "case.toml", folder / "track.csv"
    scene.write_text(case.text, encoding="utf-8")
    track.write_text(make_tracks(case.run, case.match, "case"), encoding="utf-8")
    fitting = case.match.fitting.model_copy(update={"finish": finish})
    match = case.match.model_copy(update={"fitting": fitting})
    filmed = read_footage(str(track), match, "case", ["magnet", "part"])
    _, _, found = fit_and_lay(str(scene), filmed, match, "case", (), 1, None)
    (value,) = found["fit"]["values"].values()
    return RemanenceFit(
        case.remanence, value["low"], value["value"], value["high"], found["agreement"],
        found["fit"]["releases"], process_time() - began,
    )  # fmt: skip


def _scene(kind: str, rng: np.random.Generator) -> tuple[str, float, float]:
    """A scene as text, its remanence [T] and how far out a point of the part is tracked [mm]."""
    wide, size = rng.uniform(40, 90), rng.uniform(14, 36)
    deep, length = rng.uniform(0.3, 0.8) * wide, rng.uniform(0.2, 0.6) * size
    shape = {
        "disc": f'{{ kind = "cylinder", diameter = "{size:.3f} mm", length = "{length:.3f} mm" }}',
        "ring": f'{{ kind = "ring", outer_diameter = "{size:.3f} mm", inner_diameter ='
        f' "{rng.uniform(0.3, 0.6) * size:.3f} mm", length = "{length:.3f} mm" }}',
        "nut": f'{{ kind = "hex_nut", across_flats = "{size:.3f} mm", bore ='
        f' "{0.55 * size:.3f} mm", length = "{0.5 * size:.3f} mm" }}',
        "bar": f'{{ kind = "box", size = "{size:.3f} x {length:.3f} x {0.7 * length:.3f} mm" }}',
        "ball": f'{{ kind = "sphere", diameter = "{0.7 * size:.3f} mm" }}',
    }[kind]
    iron = rng.choice(["grey cast iron", "low-carbon steel", "ductile iron"])
    remanence = rng.uniform(1.2, 1.4)
    gap, tilt = rng.uniform(0.25, 0.7) * wide, rng.uniform(0, 70)
    across = rng.uniform(-0.25, 0.25) * wide
    text = f"""title = "Invented, drawn by number"
[run]
duration = "0.3 s"
detail = "draft"
[[material]]
name = "magnet"
density = "7500 kg/m^3"
remanence = "1.3 T"
[[body]]
name = "magnet"
material = "magnet"
magnetised = "-z"
fixed = true
shape = {{ kind = "box", size = "{wide:.3f} x {0.8 * wide:.3f} x {deep:.3f} mm" }}
position = "0, 0, {0.5 * deep:.4f} mm"
[[body]]
name = "part"
material = "{iron}"
shape = {shape}
position = "{across:.3f}, 0, {-gap - 0.5 * size:.4f} mm"
rotation = {{ axis = "y", angle = "{tilt:.2f} deg" }}
"""
    return text, float(remanence), 0.45 * size * (0.7 if kind == "ball" else 1)


def _released(text: str, remanence: float, cells: int) -> Trajectory:
    """The flight to the first blow, on so many cells."""
    system = scene_from_text(text, "case.toml", (f'material.magnet.remanence="{remanence!r} T"',))
    part = system.number("part")
    own = {part: mesh(system.bodies[part].shape, cells)}
    return release(system, meshes=own, until=lambda impact: EndReason.FIRST_BLOW, frames=False)


def _strikes(run: Trajectory) -> bool:
    return run.reason == EndReason.FIRST_BLOW and LASTS[0] < float(run.time[-1]) < LASTS[1]


def _match(seed: int, point: float, run: Trajectory) -> MatchFile:
    """The camera, two points of the part, and what is to be fitted until just before the blow."""
    end = f"{0.995 * float(run.time[-1])!r} s"
    document = {
        "time": {"frame_rate": "480 Hz"},
        "view": {"scale": "4 px/mm", "origin": "640, 120 px"},
        "track": [
            {"point": "left", "body": "part", "at": f"{-point!r}, 0, 0 mm"},
            {"point": "right", "body": "part", "at": f"{point!r}, 0, 0 mm"},
        ],
        "fit": {"material.magnet.remanence": {"between": ["1.05 T", "1.55 T"]}},
        "fitting": {"until": end, "starts": 8},
        "make": {"noise": "1 px", "seed": seed, "until": end},
    }
    return match_from(document, "case")


def main(first: int, last: int, finish: str = "own", finer: int = FINER) -> None:
    """Print a line a case and the counts."""
    held = 0
    with TemporaryDirectory() as folder:
        for seed in range(first, last):
            case = filming(seed, finer)
            found = fitted(case, None if finish == "own" else finish, Path(folder))
            held += found.holds
            off = 1e3 * (found.value - found.truth)
            print(
                f"{seed:3d} {case.kind:4s} {1e3 * float(case.run.time[-1]):4.0f} ms"
                f"  {found.truth:.4f} T, found {off:+6.1f} mT in"
                f" {1e3 * (found.low - found.truth):+6.1f} {1e3 * (found.high - found.truth):+6.1f}"
                f"  {'holds' if found.holds else 'MISSES'}  {found.verdict}"
                f"  {found.releases} releases, {found.cpu:.1f} s",
                flush=True,
            )
    print(f"of {last - first}: {held} hold the truth")


if __name__ == "__main__":
    main(int(sys.argv[1]), int(sys.argv[2]), *sys.argv[3:4], *map(int, sys.argv[4:5]))
