"""Margins against releases over drawn cases: `python tests/landscape/margin_family.py FIRST LAST`.

A case is a scene drawn by its number: one part or two, of every kind of shape, lying, hanging,
under a crossbar. Its lift and two other ways, drawn, of its confirmed margin are tried by releases
of the scene's own detail: from three places within what is said to be safe the part must not snap,
the farthest of them a little inside of its end; from where a snap was said, it must. Prints a line
a release that ended otherwise, and the counts.
"""

from __future__ import annotations

import sys
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from snapsim.landscape.place import Place, with_one_at
from snapsim.landscape.thresholds import KINDS, Threshold, Ways, let_go_at
from snapsim.landscape.ways import PushWay, TiltWay
from snapsim.run.fate import fate
from snapsim.scenario.loading import scene_from_text
from snapsim.simulation.system import System
from snapsim.study.confirmed_margin import confirmed

BESIDE = {"tilt": np.radians(1.0), "lift": 5e-4, "approach": 5e-4, "push": 1e-3}
"""How far inside and outside of a margin's bar a release is made [rad, m]."""

INSIDE = (1.0, 0.72, 0.45)
"""Shares of the safe part of a way from which a part is let go; not those that confirm it."""

BACK = (0.0, 0.35, 0.8)
"""The same of a way on which a part that snaps as it is does so no more."""

KINDS_OF_SCENE = (
    *("box", "ring", "disc", "ball", "nut", "compound"),
    *("prism", "string", "crossbar", "two"),
)

EDGE = 25.0
"""Half the length of a flap [mm]."""

LATER = 40
"""Case from which on parts on hinges and rails are drawn too."""


@dataclass(frozen=True)
class Ended:
    """One release: of case `seed` and kind, along `way` at `s`; what was said and what it did."""

    seed: int
    kind: str
    way: str
    s: float
    said: str
    did: str

    @property
    def false_safe(self) -> bool:
        """It snapped where the margin said that it does not."""
        return self.said == "no snap" and self.did == "snaps"


def text_of(seed: int) -> tuple[str, str]:
    """Return the scene of a case, and its kind."""
    rng = np.random.default_rng(seed)
    kinds = KINDS_OF_SCENE if seed < LATER else (*KINDS_OF_SCENE, "hinge", "rail")
    kind = kinds[seed % len(kinds)]
    wide = rng.uniform(50, 110)
    size = wide * np.array([1, rng.uniform(0.7, 1), rng.uniform(0.35, 0.6)])
    part, height = _part(kind, rng)
    height = round(height, 2)  # as it is written
    gap = rng.uniform(0.9, 1.5) * wide
    magnet = height + gap + 0.5 * size[2]
    across = rng.uniform(-0.2, 0.2, 2) * wide
    pole = " x ".join(f"{x:.2f}" for x in size)
    rows = [
        'title = "Invented, drawn by number"\n[run]\nduration = "1 s"\ndetail = "draft"\n[contact]'
        "\nfriction = 0.35\nrestitution = 0.2\n",
        f'[[body]]\nname = "magnet"\nmaterial = "NdFeB N42"\nmagnetised = "-z"\nfixed = true\n'
        f'shape = {{ kind = "box", size = "{pole} mm" }}\nposition = "0, 0, {magnet:.3f} mm"\n',
        '[[body]]\nname = "table"\nmaterial = "oak"\nfixed = true\nposition = "0, 0, -10 mm"\n'
        'shape = { kind = "box", size = "900 x 900 x 20 mm" }\n',
        _body("part", part, across, 0.5 * height + 1e-4),
    ]
    if kind == "crossbar":
        x = across[0] + rng.uniform(45, 60)
        rows.append(
            '[[body]]\nname = "bar"\nmaterial = "oak"\nfixed = true\n'
            f'position = "{x:.2f}, 0, {height + 30:.2f} mm"\n'
            'shape = { kind = "box", size = "20 x 400 x 20 mm" }\n'
        )
    if kind == "two":
        rows.append(_body("other", part, across + np.array([0.0, 90.0]), 0.5 * height + 1e-4))
    if kind == "string":
        rows[3] = _body("part", part, across, 0.5 * height + 25)
        rows.append(
            '[[joint]]\nname = "cord"\nkind = "string"\nbetween = ["part", "world"]\n'
            f'length = "60 mm"\nat = ["0, 0, {0.5 * height:.3f} mm", '
            f'"{across[0]:.3f}, {across[1]:.3f}, {height + 84.9:.3f} mm"]\n'
        )
    if kind in ("hinge", "rail"):
        rows.append(_guide(kind, across, height, rng))
    return "".join(rows), kind


def _guide(kind: str, across: np.ndarray, height: float, rng: np.random.Generator) -> str:
    """A flap lying on the table, hinged at its edge, or a rail that leans; both rub or not."""
    rub = rng.choice([0.0, rng.uniform(0.1, 0.4)])
    edge, low = (-EDGE, -0.5 * height) if kind == "hinge" else (0.0, 0.0)
    x, z = round(across[0], 3) + edge, 0.5 * height + low + 1e-4
    own = 'axis = "y"\n' + (f'friction_torque = "{0.1 * rub:.4f} N m"\n' if rub else "")
    if kind == "rail":
        own = f'axis = "{rng.uniform(-0.6, 0.6):.3f}, 0, 1"\nfriction = {rub:.3f}\n'
    return (
        f'[[joint]]\nname = "guide"\nkind = "{"hinge" if kind == "hinge" else "slide"}"\n'
        f'between = ["part", "world"]\nat = ["{edge}, 0, {low:.5f} mm", '
        f'"{x:.3f}, {across[1]:.3f}, {z:.5f} mm"]\n{own}'
    )


def _body(name: str, shape: str, across: np.ndarray, z: float) -> str:
    return (
        f'[[body]]\nname = "{name}"\nmaterial = "grey cast iron"\nshape = {shape}\n'
        f'position = "{across[0]:.3f}, {across[1]:.3f}, {z:.5f} mm"\n'
    )


def _part(kind: str, rng: np.random.Generator) -> tuple[str, float]:
    """A shape in TOML and its height [mm]."""
    d, h = rng.uniform(30, 60), rng.uniform(6, 14)
    if kind == "hinge":
        return f'{{ kind = "box", size = "{2 * EDGE:.2f} x {0.8 * d:.2f} x {h:.2f} mm" }}', h
    if kind in ("box", "crossbar", "two"):
        return f'{{ kind = "box", size = "{d:.2f} x {0.8 * d:.2f} x {h:.2f} mm" }}', h
    if kind == "ring":
        return f'{{ kind = "ring", outer_diameter = "{d:.2f} mm", inner_diameter = "{0.4 * d:.2f} mm", length = "{h:.2f} mm" }}', h  # fmt: skip # noqa: E501
    if kind == "ball":
        return f'{{ kind = "sphere", diameter = "{0.6 * d:.2f} mm" }}', 0.6 * d
    if kind == "nut":
        return f'{{ kind = "hex_nut", across_flats = "{0.7 * d:.2f} mm", bore = "{0.35 * d:.2f} mm", length = "{h + 6:.2f} mm" }}', h + 6  # fmt: skip # noqa: E501
    if kind == "compound":
        hub = f'{{ shape = {{ kind = "ring", outer_diameter = "{0.4 * d:.2f} mm", inner_diameter = "{0.2 * d:.2f} mm", length = "{h + 4:.2f} mm" }} }}'  # fmt: skip # noqa: E501
        rim = f'{{ shape = {{ kind = "ring", outer_diameter = "{d:.2f} mm", inner_diameter = "{0.4 * d:.2f} mm", length = "{h:.2f} mm" }} }}'  # fmt: skip # noqa: E501
        return f'{{ kind = "compound", members = [{hub}, {rim}] }}', h + 4
    if kind == "prism":
        a = 0.5 * d
        points = f'["{-a:.2f}, {-a:.2f} mm", "{a:.2f}, {-a:.2f} mm", "{0.6 * a:.2f}, {a:.2f} mm", "{-0.6 * a:.2f}, {a:.2f} mm"]'  # fmt: skip # noqa: E501
        return f'{{ kind = "prism", points = {points}, length = "{h:.2f} mm" }}', h
    return f'{{ kind = "cylinder", diameter = "{d:.2f} mm", length = "{h:.2f} mm" }}', h


class _FewWays(Ways):
    """The lift and some other ways, drawn by the case's number: each costs seconds."""

    seed = 0
    most = 3

    def measured(self, snaps_now, kinds=KINDS):
        pushes, turns = self.pushes(), self.turns()
        others = [*pushes[1:], *turns]
        rng = np.random.default_rng([self.seed, 1])
        drawn = rng.permutation(len(others))[: max(self.most - len(pushes[:1]), 0)]
        chosen = [*pushes[:1], *(others[k] for k in sorted(drawn.tolist()))]
        return self.measured_on(chosen, snaps_now)


def releases(seed: int, most: int = 3) -> Iterator[Ended]:
    """Yield what comes of the releases that try the confirmed margin of a case on `most` ways."""
    text, kind = text_of(seed)
    system = scene_from_text(text, f"case-{seed}.toml", ())
    body = system.number("part")
    ways = _FewWays(system, body, lambda what, done, of_all: None)
    ways.seed, ways.most = seed, most
    now = ways.let_go()
    snaps = now.fate == "snaps"
    present, found = confirmed(ways, now, ways.measured(snaps))
    if snaps or not present.safe:
        said = "snaps" if snaps else str(present.kind)
        yield Ended(seed, kind, "as it is", 0.0, said, _did(system, body, ways.place))
    for way, t in found:
        for s, said in _tried(t):
            place = let_go_at(way, min(s, t.searched))
            room = None if place is None else ways.constraints.restored(place, 2e-3)
            if room is not None:
                yield Ended(seed, kind, _name(way), s, said, _did(system, body, room))


def _tried(t: Threshold) -> list[tuple[float, str]]:
    """Where a part is let go: within what is said to be safe, and where a snap is said."""
    beside, safe = BESIDE[t.kind], t.searched if t.least is None else t.least
    if t.snaps_now:
        first = t.searched if t.no_snap_from is None else t.no_snap_from + beside
        return [(first + x * (t.searched - first), "no snap") for x in BACK if first < t.searched]
    tried = [(share * (safe - beside), "no snap") for share in INSIDE]
    if t.confirmation is not None and t.by_release:
        decisive = t.confirmation.decisive
        if decisive is not None and decisive.alike and decisive.kind == "snaps":
            tried.append((decisive.s, "snaps"))
    elif t.beyond is not None:
        tried.append((t.beyond.value + t.beyond.error + beside, "snaps"))
    return [(s, said) for s, said in tried if 0 < s < t.searched]


def _name(way: PushWay | TiltWay) -> str:
    axis = way.axis if isinstance(way, TiltWay) else way.direction
    return f"{'tilt' if isinstance(way, TiltWay) else way.kind} {np.round(axis, 2).tolist()}"


def _did(system: System, body: int, place: Place) -> str:
    pose = with_one_at(system.start.pose, body, place)
    now = replace(system, start=replace(system.start, pose=pose))
    kind = fate(now, body).kind
    return "snaps" if kind in ("snaps", "touches") else str(kind)


def agrees(one: Ended) -> bool:
    """Whether a release ended as the margin says; undecided ones do where no snap was said."""
    return (one.did == "snaps") == (one.said == "snaps")


if __name__ == "__main__":
    counts: Counter[str] = Counter()
    for number in range(int(sys.argv[1]), int(sys.argv[2]) + 1):
        for one in releases(number):
            counts["releases"] += 1
            counts["as said"] += agrees(one)
            counts["falsely safe"] += one.false_safe
            if not agrees(one):
                print(one, flush=True)
        print(f"case {number}: {dict(counts)}", flush=True)
