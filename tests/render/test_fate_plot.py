"""The plot of a fate map: every fate has its pattern and words, in both styles."""

import itertools

import numpy as np
import pytest
from matplotlib.figure import Figure

from snapsim.landscape.fate_map import (
    Axis,
    Boundary,
    BoundarySpot,
    FateMap,
    area,
    group,
    patches,
)
from snapsim.numerics.quartering import boundaries, corners, is_mixed, refine
from snapsim.render.plots import PlotOptions, fate_plot, save
from snapsim.render.plots.fates import PATTERNS, UNREFINED
from snapsim.render.plots.style import PAPERS
from snapsim.simulation.fate import Fate, FateKind
from snapsim.words.fates import FATES, fate_answer


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


def test_no_patch_shows_a_fate_that_a_corner_of_it_does_not_have(found):
    """Painted by what was computed: the place of every release lies in patches of its own fate,
    and the patches fill the slice."""
    pieces = patches(found)
    for piece in pieces:
        assert {group(found.fates[n].kind) for n in piece.points} == {piece.group}
    assert sum(area(p.outline) for p in pieces) == pytest.approx(32.0**2)


def test_patches_end_where_the_boundary_is_drawn():
    """Rims between unlike patches are the pieces of `numerics.quartering.boundaries`, over drawn
    maps: what is coloured and what is lined never disagree."""
    rng = np.random.default_rng(4)
    for _ in range(20):
        centre, radius = rng.uniform(4, 28, 2), rng.uniform(3, 14)

        def rule(points, centre=centre, radius=radius):
            return {
                p: "snaps" if np.hypot(*(np.array(p) - centre)) < radius else "does not snap"
                for p in points
            }

        cut = refine(rule, 4, 4, 3, 5000)
        drawn = drawn_map(cut)
        edges = [set(), set()]
        for piece in patches(drawn):
            ends = [tuple(x) for x in piece.outline.tolist()]
            edges[piece.group == "snaps"] |= {
                frozenset(pair) for pair in zip(ends, [*ends[1:], ends[0]], strict=True)
            }
        lined = {
            frozenset(pair)
            for lines in boundaries(cut).values()
            for line in lines
            for pair in itertools.pairwise(line)
        }
        assert lined == edges[0] & edges[1] - whole_edges(drawn)


def whole_edges(drawn):
    """Edges of whole cells: none of them parts two fates in a refined map."""
    return {
        frozenset([tuple(a), tuple(b)])
        for cell in drawn.point[drawn.cells].tolist()
        for a, b in zip(cell, [*cell[1:], cell[0]], strict=True)
    }


def drawn_map(cut, **more):
    """A map of labels as a fate map."""
    points = sorted(cut.labels)
    at = {p: n for n, p in enumerate(points)}
    kinds = {"snaps": FateKind.SNAPS, "does not snap": FateKind.FALLS_BACK}
    return FateMap(
        "invented", "disc", "draft", Axis("a", "deg", 0, 32, 1), Axis("b", "mm", 0, 32, 1),
        np.array(points, dtype=float), tuple(Fate(kinds[cut.labels[p]]) for p in points),
        np.array([[at[p] for p in corners(c)] for c in cut.cells]), (), (), cut.whole, **more,
    )  # fmt: skip


def test_an_unrefined_map_says_so_in_its_answer_and_its_picture(tmp_path):
    cut = refine(lambda ps: {p: "snaps" if p[0] > 13 else "does not snap" for p in ps}, 2, 2, 4, 12)
    loose = [n for n, c in enumerate(cut.cells) if is_mixed(c, cut.labels)]
    drawn = drawn_map(cut, unrefined=np.array(loose))
    assert not cut.whole
    assert "NOT refined" in fate_answer(drawn)
    figure = Figure()
    fate_plot(drawn, "disc").draw(figure, PAPERS["light"])
    assert any(UNREFINED in t.get_text() for t in figure.axes[0].texts)


def test_an_answer_rounds_no_small_share_of_snaps_to_none():
    cut = refine(
        lambda ps: {p: "snaps" if p == (0, 0) else "does not snap" for p in ps}, 9, 9, 1, 999
    )
    assert "snaps in 1 %" in fate_answer(drawn_map(cut))
