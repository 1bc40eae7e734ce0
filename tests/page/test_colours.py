"""The page's key of poles has the colours of the poles on its stage."""

from __future__ import annotations

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
