"""The page's key of poles has the colours of the poles on its stage, and what it draws over the
bodies those of films."""

from __future__ import annotations

import re

from snapsim.page.client import ASSETS
from snapsim.render import palette


def test_the_key_of_poles_has_the_colours_of_the_poles() -> None:
    style = (ASSETS / "page.css").read_text(encoding="utf-8").lower()
    for name, colour in (
        ("north", palette.NORTH),
        ("south", palette.SOUTH),
        ("hatch", palette.SOUTH_HATCH),
    ):
        assert f"--{name}: {colour.lower()};" in style


def test_what_is_drawn_over_the_bodies_has_the_colours_of_films() -> None:
    script = (ASSETS / "showing.js").read_text(encoding="utf-8")
    assert not re.findall(r"#[0-9a-fA-F]{6}\b", script)
    named = set(re.findall(r"view\.colours\.(\w+)", script))
    named |= set(re.findall(r'\barrow\("(\w+)"', script)) | set(
        re.findall(r'name: "(\w+)"', script)
    )
    assert named == set(palette.DRAWN)
    films = palette.FORCE, palette.TORQUE, palette.TRAIL, palette.FIELD_LINE
    assert tuple(palette.DRAWN[n] for n in ("force", "torque", "trail", "lines")) == films
