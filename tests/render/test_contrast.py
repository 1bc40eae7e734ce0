"""Every word of a film over what it stands on, in frame after frame (WCAG 2.2, 1.4.3)."""

from pathlib import Path

import numpy as np
import pytest
from PIL import Image, ImageDraw, ImageFilter

from snapsim import load_scene, release
from snapsim.render import ClipOptions, layers_of, palette
from snapsim.render.film_words import put_line
from snapsim.render.job import ClipJob
from snapsim.render.show import Show

SCENES = Path(__file__).parents[2] / "scenarios"
ENOUGH = 4.5
"""Contrast that text of any size is to have (success criterion 1.4.3, level AA)."""


def luminance(picture):
    """Relative luminance (h, w) by the definition of WCAG 2.2."""
    share = np.asarray(picture.convert("RGB"), dtype=float) / 255
    linear = np.where(share <= 0.04045, share / 12.92, ((share + 0.055) / 1.055) ** 2.4)
    return linear @ [0.2126, 0.7152, 0.0722]


def words_of(show, clip):
    """Yield (what, its letters (mode L), the luminance of its ink) of one frame."""
    piece, pane = show.timeline.piece_at(clip), show._panes[0]
    _, words = pane._picture(piece.shot)
    said = show.timeline.line_at(clip)
    setters = {
        "the pace": lambda pen: words._put_pace(pen, pane._pace(clip, piece), 255),
        "the line": lambda pen: put_line(pen, words.layout, said, 255) if said else None,
    }
    setters |= {
        f"lasting {n}": (lambda pen, p=p: p(pen, ink=255)) for n, p in enumerate(words._lasting)
    }
    for what, put in setters.items():
        letters = Image.new("L", words.layout.size, 0)
        put(ImageDraw.Draw(letters))
        ink = palette.INK if what == "the line" else palette.INK_SOFT
        yield what, letters, palette.relative_luminance(ink)


def least_contrast(show, clip):
    """Return (contrast, what) of the word that is worst to read in the frame of a clip time:
    against the brightest pixel one or two pixels off its letters."""
    piece = show.timeline.piece_at(clip)
    ground, worst = luminance(show.frame(clip)), (21.0, "")
    if piece.kind in ("title", "card") or show.timeline.veil_at(clip) > 0:
        return worst  # cards are tested by themselves; at a cut all gets dark together
    every = [w for w in words_of(show, clip) if w[1].getbbox()]
    on = np.zeros(ground.shape, dtype=bool)
    for _, letters, _ in every:
        on |= np.asarray(letters.filter(ImageFilter.MaxFilter(3))) > 0
    for what, letters, ink in every:
        near = (np.asarray(letters.filter(ImageFilter.MaxFilter(5))) > 0) & ~on
        worst = min(worst, (float((ink + 0.05) / (ground[near].max() + 0.05)), what))
    return worst


def worst_of(run, options, every):
    """The worst of all frames, `every` seconds of clip apart, with their times."""
    with Show(ClipJob((run,), options)) as show:
        times = np.arange(0.1, show.timeline.duration, every)
        return min((*least_contrast(show, float(t)), round(float(t), 2)) for t in times)


@pytest.mark.parametrize("size", [(640, 360), (360, 640)])
def test_every_word_of_a_film_can_be_read_in_frame_after_frame(trajectory, drawing, size):
    shown = layers_of(["magnetisation"])
    options = ClipOptions(width=size[0], height=size[1], supersample=False, layers=shown)
    worst = worst_of(trajectory, options, 1.3)
    assert worst[0] >= ENOUGH, worst


def test_words_without_their_shade_are_found_out(trajectory, drawing, monkeypatch):
    monkeypatch.setattr("snapsim.render.film_words.SHADE", 0)
    monkeypatch.setattr("snapsim.render.film_words.DARKEST", 0)
    options = ClipOptions(width=360, height=640, supersample=False)
    assert worst_of(trajectory, options, 2.6)[0] < ENOUGH


@pytest.mark.longer
@pytest.mark.parametrize("size", [(640, 360), (360, 640), (480, 480)])
@pytest.mark.parametrize(
    "scene", sorted(p.stem for p in SCENES.glob("*.toml") if p.suffixes == [".toml"])
)
def test_every_word_of_every_scene_s_film_can_be_read(scene, size, drawing):
    run = release(load_scene(SCENES / f"{scene}.toml", ['run.detail="draft"']), twins=0)
    options = ClipOptions(width=size[0], height=size[1], supersample=False)
    worst = worst_of(run, options, 0.1)
    assert worst[0] >= ENOUGH, worst
