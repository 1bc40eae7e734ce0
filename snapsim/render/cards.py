"""Title and end card: what is shown, and the caution large enough to read."""

from __future__ import annotations

import math
import re

import numpy as np
from PIL import Image, ImageDraw

from snapsim.render import palette
from snapsim.render.layout import PHONE, scaled
from snapsim.render.lettering import font, wrapped
from snapsim.simulation.system import System

MOST_BODIES = 4
PROVENANCE = "Computed motion, not a recording. Invented or measured inputs: see the scene."
CAUTION_LINES = (
    "Strong magnets crush, cut and shatter.",
    "Keep hands, faces and pacemakers away.",
    "Results vary with material, surface and the way a part is let go.",
    "This is no permission: local rules and qualified people decide.",
)


def title_card(size: tuple[int, int], systems: tuple[System, ...]) -> Image.Image:
    """Return the opening card: each scene's title, and what takes part in the first."""
    card, pen, unit = blank(size)
    titles = dict.fromkeys(system.title for system in systems)
    lines = [(text, 44.0, True, palette.INK) for text in titles]
    lines += [(text, 27.0, False, palette.INK_SOFT) for text in cast_of(systems[0])]
    lines.append((PROVENANCE, 23.0, False, palette.INK_SOFT))
    _set(pen, size, unit, lines)
    return card


def end_card(size: tuple[int, int], blow: str | None) -> Image.Image:
    """Return the closing card: the first blow's figures, and the caution."""
    card, pen, unit = blank(size)
    lines = [(unbroken(blow), 34.0, True, palette.ACCENT)] if blow else []
    lines += [(text, 34.0, k == 3, palette.INK) for k, text in enumerate(CAUTION_LINES)]
    _set(pen, size, unit, lines)
    return card


def unbroken(said: str) -> str:
    """Return words whose numbers stay in one line with their units."""
    return re.sub(r"(?<=\d) (?=m?J\b|m/s\b)", "\u00a0", said)


def cast_of(system: System) -> list[str]:
    """Return a line a body for the magnets and what moves: name, material, mass."""
    shown = [body for body in system.bodies if body.is_magnet or not body.fixed]
    lines = [f"{b.name}: {b.material.name}, {_mass(b.mass)}" for b in shown[:MOST_BODIES]]
    if len(shown) > MOST_BODIES:
        lines.append(f"and {len(shown) - MOST_BODIES} more")
    return lines


def _mass(kilograms: float) -> str:
    if kilograms >= 1:
        return f"{kilograms:.3g} kg"
    return f"{1e3 * kilograms:.3g} g"


def blank(size: tuple[int, int]) -> tuple[Image.Image, ImageDraw.ImageDraw, float]:
    """Return a dark card with the stage's glow, a pen for it and the unit of its type."""
    w, h = size
    x, y = np.meshgrid(np.linspace(-1, 1, w), np.linspace(-1, 1, h))
    glow = 0.55 * np.exp(-((x / 0.9) ** 2 + (y / 0.9) ** 2))[..., None]
    low, high = (
        np.array(palette.rgb(c), float) for c in (palette.BACKDROP_LOW, palette.BACKDROP_HIGH)
    )
    card = Image.fromarray((low + (high - low) * glow).round().astype(np.uint8))
    unit = min(w / 1280, h / 720) if w >= 1.25 * h else min(w / 760, h / 760)
    return card, ImageDraw.Draw(card), unit


def _set(
    pen: ImageDraw.ImageDraw,
    size: tuple[int, int],
    unit: float,
    lines: list[tuple[str, float, bool, str]],
) -> None:
    """Set paragraphs (text, size, bold, colour) one under another, centred in height."""
    edge = scaled(unit, 84)
    room = size[0] - edge - scaled(unit, 60)
    rows = []
    for text, height, bold, colour in lines:
        points = max(scaled(unit, height), math.ceil(PHONE * size[0]))
        rows += [(line, points, bold, colour, 1.32) for line in wrapped(text, room, points, bold)]
        rows[-1] = (*rows[-1][:4], 1.75)  # a wider step after a paragraph
    top = (size[1] - sum(round(row[1] * row[4]) for row in rows)) // 2
    rule = edge - scaled(unit, 28)
    pen.rectangle((rule, top, rule + scaled(unit, 6), size[1] - top), palette.ACCENT)
    for line, points, bold, colour, step in rows:
        pen.text((edge, top), line, colour, font(points, bold))
        top += round(points * step)
