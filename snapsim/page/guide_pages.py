"""The guide as pages beside the stage: its chapters, which are Markdown, with the page's own look.

No chapter may bring HTML of its own. What it names as `snapsim guide NAME`, and files of the guide,
become links to that chapter; headings can be linked to.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from html import escape
from typing import Any

from aiohttp import web
from jinja2 import StrictUndefined, Template
from markdown_it import MarkdownIt
from markdown_it.renderer import RendererHTML
from markdown_it.token import Token

from snapsim.analysis.cautions import CAUTIONS
from snapsim.errors import InputError
from snapsim.page.client import ASSETS

NAMED = re.compile(r"snapsim guide ([\w-]+)")
FILE = re.compile(r"(?:snapsim/guide/)?([\w-]+)\.md(#.*)?")


@dataclass(frozen=True)
class Guide:
    """Names of chapters with what each is `about`, and what reads one as Markdown; that raises
    InputError for a name that none has."""

    about: Mapping[str, str]
    read: Callable[[str], str]


def guide_routes(guide: Guide) -> list[web.RouteDef]:
    """Return what a server needs to show a guide below its /guide/."""

    async def first(_: web.Request) -> web.Response:
        raise web.HTTPFound(f"guide/{next(iter(guide.about))}")

    async def one(request: web.Request) -> web.Response:
        name = request.match_info["name"]
        if not name:
            raise web.HTTPFound(next(iter(guide.about)))
        try:
            return web.Response(text=guide_page(guide, name), content_type="text/html")
        except InputError as error:
            text = _framed(guide, "", "No such chapter", error.message)
            return web.Response(text=text, status=404, content_type="text/html")

    return [web.get("/guide", first), web.get("/guide/{name:.*}", one)]


def guide_page(guide: Guide, name: str) -> str:
    """Return a chapter as a whole page; raises InputError where there is none."""
    body, title, headings = rendered(guide.read(name), guide.about)
    return _framed(guide, name, title or name, body, headings)


def rendered(text: str, chapters: Mapping[str, str]) -> tuple[str, str, list[tuple[str, str]]]:
    """Return Markdown as HTML below its title, the title, and headings of the second level as (id,
    words)."""
    parser = MarkdownIt("commonmark", {"html": False}).enable("table")
    parser.add_render_rule("code_inline", _code)
    parser.add_render_rule("table_open", _table_open)
    parser.add_render_rule("table_close", _table_close)
    tokens = parser.parse(text)
    title, headings, taken = "", [], set[str]()
    for k, token in enumerate(tokens):
        if token.type == "heading_open":
            words = _words(tokens[k + 1])
            place = _free(re.sub(r"[^\w]+", "-", words.lower()).strip("-") or "part", taken)
            token.attrs["id"] = place
            title = title or words
            if token.tag == "h2":
                headings.append((place, words))
        elif token.type == "fence":
            token.attrs["tabindex"] = "0"
        for inner in token.children or []:
            if inner.type == "link_open":
                _link(inner, chapters)
    shown = [t for k, t in enumerate(tokens) if k >= 3 or not title or tokens[0].tag != "h1"]
    return parser.renderer.render(shown, parser.options, {"chapters": chapters}), title, headings


def _words(token: Token) -> str:
    return "".join(t.content for t in token.children or [])


def _free(wanted: str, taken: set[str]) -> str:
    name, n = wanted, 1
    while name in taken:
        name, n = f"{wanted}-{n + 1}", n + 1
    taken.add(name)
    return name


def _link(token: Token, chapters: Mapping[str, str]) -> None:
    """Lead files of the guide to their chapter, and others out of the page."""
    to = str(token.attrs.get("href", ""))
    found = FILE.fullmatch(to)
    if found and found[1] in chapters:
        token.attrs["href"] = found[1] + (found[2] or "")
    elif not to.startswith("#"):
        token.attrs |= {"rel": "noopener noreferrer", "target": "_blank"}


def _code(self: RendererHTML, tokens: Sequence[Token], index: int, options: Any, env: Any) -> str:
    code = f"<code>{escape(tokens[index].content)}</code>"
    named = NAMED.fullmatch(tokens[index].content)
    if named and named[1] in env["chapters"]:
        return f'<a href="{named[1]}">{code}</a>'
    return code


def _table_open(*_: Any) -> str:
    return '<div class="wide" tabindex="0" role="group" aria-label="a table"><table>\n'


def _table_close(*_: Any) -> str:
    return "</table></div>\n"


def _framed(
    guide: Guide, name: str, title: str, body: str, headings: Sequence[tuple[str, str]] = ()
) -> str:
    text = (ASSETS / "guide.html").read_text(encoding="utf-8")
    template = Template(text, undefined=StrictUndefined, autoescape=True)
    found: str = template.render(
        chapters=guide.about,
        name=name,
        title=title,
        body=body,
        headings=headings,
        caution=CAUTIONS[0],
    )
    return found
