"""The templates of the page and what they may ask for; all text is escaped where it is put in."""

from __future__ import annotations

from functools import cache
from importlib.resources import files

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from snapsim.analysis.stray_field import stray_lines
from snapsim.study.made_twice import repeat_words
from snapsim.study.report import marks, setup
from snapsim.study.report.rig import rig

SAID = {
    "bound_text": setup.bound_text,
    "called": setup.called,
    "chance_text": marks.chance_text,
    "change_first": setup.change_first,
    "checklist": setup.checklist,
    "counted": setup.counted,
    "hands": setup.hands,
    "intervals": setup.intervals,
    "judged": setup.judged,
    "limit_said": setup.limit_said,
    "limits": setup.limits,
    "measures": setup.measures,
    "place": lambda percent: f"{percent:.2f}%",
    "quantity": marks.quantity,
    "rare_event": setup.rare_event,
    "rig": rig,
    "share": marks.share,
    "spoken": setup.spoken,
    "repeat_words": repeat_words,
    "stray_lines": stray_lines,
    "thousands": lambda count: f"{count:,}",
    "tiles": setup.tiles,
    "words": lambda key: key.replace("_", " "),
}
"""Filters by name."""


@cache
def environment() -> Environment:
    """Return the environment of the templates, which lie beside this file."""
    found = Environment(
        loader=PackageLoader("snapsim.study.report"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
    )
    found.filters |= SAID
    style = (files("snapsim.study.report") / "style.css").read_text(encoding="utf-8")
    found.globals["style"] = Markup(style)
    return found
