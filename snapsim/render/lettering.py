"""Text set by `pillow`: the typeface at a size, lines that fit, numbers that stand still."""

from __future__ import annotations

import functools

from PIL import ImageFont

from snapsim.render.typeface import Weight, weight_path


@functools.cache
def font(points: int, bold: bool = False) -> ImageFont.FreeTypeFont:
    """Return the typeface at a size, laid out plainly, without the system's shaping library."""
    return weighted(points, Weight.BOLD if bold else Weight.PLAIN)


@functools.cache
def weighted(points: int, weight: Weight) -> ImageFont.FreeTypeFont:
    """Return a weight of the typeface at a size, laid out plainly."""
    path = str(weight_path(weight))
    return ImageFont.truetype(path, points, layout_engine=ImageFont.Layout.BASIC)


def fitted(
    text: str, width: int, points: int, bold: bool = False, least: int = 9
) -> tuple[str, int]:
    """Return (text, points) that fit `width`: smaller letters first, then a shortened text."""
    size = points
    while size > max(least, points * 2 // 3) and font(size, bold).getlength(text) > width:
        size -= 1
    while len(text) > 1 and font(size, bold).getlength(text) > width:
        text = text[:-2].rstrip() + "…"
    return text, size


def wrapped(text: str, width: int, points: int, bold: bool = False) -> list[str]:
    """Return the text in lines that fit `width`; a number stays with its unit where the space
    between them does not break."""
    lines = [""]
    for word in text.split(" "):
        longer = f"{lines[-1]} {word}".strip()
        if font(points, bold).getlength(longer) <= width or not lines[-1]:
            lines[-1] = longer
        else:
            lines.append(word)
    return lines


def signed(value: float, most: float) -> str:
    """Return a number with the decimals that suit the largest of its kind, a true minus sign."""
    decimals = 2 if most < 10 else (1 if most < 100 else 0)
    text = f"{value:.{decimals}f}"
    return text.replace("-", "\u2212") if float(text) else text.lstrip("-")
