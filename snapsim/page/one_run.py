"""One run as one HTML file: 3-D, scrubber, figures and plots; opens from disk without a network.

Everything is in the file: the scripts of the page, Vue (MIT licence) from trame's client, the run,
and the letters of the typeface (free to embed) that a European text needs. Its content
security policy forbids every request.
"""

from __future__ import annotations

import base64
import io
import json
from os import PathLike
from typing import Any

from jinja2 import StrictUndefined, Template
from markupsafe import Markup

from snapsim.analysis.cautions import CAUTIONS
from snapsim.page.client import ASSETS, client_folder
from snapsim.page.playback import playback
from snapsim.render.typeface import font_path
from snapsim.simulation.trajectory import Trajectory
from snapsim.storage.whole_file import whole_file

SCRIPTS = ("viewer.js", "hands.js", "playing.js", "parts.js", "showing.js", "run.js")
LETTERS = (
    *range(0x20, 0x7F),
    *range(0xA0, 0x180),
    *map(ord, "αβγδθλμμρτφχωΩ–—‘’“”…•₀₁₂×−±≤≥≈→←↑↓↺"),
)
"""Letters that are embedded; others come from the reader's machine."""


def write_one_run(run: Trajectory, path: str | PathLike[str], overwrite: bool = False) -> None:
    """Write a run as one HTML file, whole or not at all; raises OutputError."""
    text = one_run_html(run)
    with whole_file(path, overwrite) as temporary:
        temporary.write_text(text, encoding="utf-8")


def one_run_html(run: Trajectory) -> str:
    """Return the file's text."""
    from snapsim import __version__

    given: dict[str, Any] = {
        "run": playback(run),
        "scene": run.system.source or run.system.resolved,
        "cautions": list(CAUTIONS),
        "version": __version__,
    }
    scripts = [_vue(), *((ASSETS / name).read_text(encoding="utf-8") for name in SCRIPTS)]
    style = _type() + (ASSETS / "page.css").read_text(encoding="utf-8")
    return _template().render(
        title=run.system.title,
        style=Markup(style),
        data=Markup(_json(given)),
        scripts=[Markup(_script(text)) for text in scripts],
    )


def _template() -> Template:
    """The page in marks of its own, since Vue's are those that jinja2 has by custom."""
    marks = ("<!--%", "%-->", "<!--=", "=-->", "<!--#", "#-->")
    page = (ASSETS / "run.html").read_text(encoding="utf-8")
    made: Template = Template(page, *marks, autoescape=True, undefined=StrictUndefined)
    return made


def _json(given: dict[str, Any]) -> str:
    """JSON that cannot end the script element it stands in."""
    text = json.dumps(given, ensure_ascii=False, allow_nan=False, separators=(",", ":"))
    return text.replace("<", "\\u003c")


def _script(text: str) -> str:
    if "</script" in text.lower():
        raise RuntimeError("a script of the page holds the end of a script element")
    return text


def _vue() -> str:
    return (client_folder() / "vue.global.js").read_text(encoding="utf-8")


def _type() -> str:
    faces = []
    for bold in (False, True):
        letters = base64.b64encode(_letters(bold)).decode()
        faces.append(
            f'@font-face {{ font-family: "snapsim"; font-weight: {700 if bold else 400};'
            f' src: url("data:font/woff;base64,{letters}") format("woff"); }}'
        )
    return "\n".join(faces) + "\n"


def _letters(bold: bool) -> bytes:
    """The typeface cut down to `LETTERS`, as WOFF."""
    from fontTools import subset

    options = subset.Options(flavor="woff", recalc_timestamp=False, hinting=False)
    options.layout_features = ["kern"]
    options.drop_tables += ["FFTM"]  # the editor's time stamps
    target = io.BytesIO()
    with subset.load_font(str(font_path(bold)), options) as font:
        cutter = subset.Subsetter(options)
        cutter.populate(unicodes=LETTERS)
        cutter.subset(font)
        subset.save_font(font, target, options)
    return target.getvalue()
