"""The plot of a fate map: every fate has its pattern and words, in both styles."""

import numpy as np
import pytest

from snapsim.landscape.fate_map import Axis, Boundary, BoundarySpot, FateMap, group
from snapsim.numerics.quartering import corners, refine
from snapsim.render.plots import PlotOptions, fate_plot, save
from snapsim.render.plots.fates import PATTERNS
from snapsim.simulation.fate import Fate, FateKind
from snapsim.words.fates import FATES


@pytest.fixture
def found():
    """A map by a rule: a quarter snaps, a corner has no room."""

    def rule(points):
        return {
            (i, j): "no room" if i + j > 56 else "snaps" if i > 16 else "falls back"
            for i, j in points
        }

    cut = refine(rule, 4, 4, 3, 2000)
    points = sorted(cut.labels)
    at = {p: n for n, p in enumerate(points)}
    return FateMap(
        "invented", "disc", "draft",
        Axis("body.disc.rotation.angle", "deg", 0, 32, 1),
        Axis("body.magnet.position.z", "mm", 0, 32, 1),
        np.array(points, dtype=float),
        tuple(Fate(FateKind(cut.labels[p]), "x", 0.1 + p[0]) for p in points),
        np.array([[at[p] for p in corners(c)] for c in cut.cells]),
        (Boundary(("does not snap", "snaps"), np.array([[16.5, 0.0], [16.5, 32.0]])),),
        (BoundarySpot(8.0, 16.5, 17.5, "normal"),),
        True,
    )  # fmt: skip


@pytest.mark.parametrize("style", ["light", "dark"])
def test_the_same_map_gives_the_same_picture(found, tmp_path, style):
    for name in ("a.png", "b.png"):
        save(tmp_path / name, fate_plot(found, "disc"), PlotOptions(style, dpi=60), ".png")
    assert (tmp_path / "a.png").read_bytes() == (tmp_path / "b.png").read_bytes()


def test_every_fate_has_a_pattern_of_its_own_and_words():
    groups = {group(kind) for kind in FateKind}
    assert groups == set(PATTERNS)
    assert len(set(PATTERNS.values())) == len(PATTERNS)
    assert len({FATES[g] for g in groups}) == len(groups)
