"""`snapsim guide [TOPIC]`: the guide, a chapter at a time."""

from __future__ import annotations

import sys
from typing import Annotated

import typer

from snapsim.cli.options import AsJson
from snapsim.cli.output import emit, emit_as_it_is, emit_json, emit_schema


def _topics(begun: str) -> list[str]:
    """Chapters that a shell may complete."""
    from snapsim.guide import CHAPTERS

    return [name for name in CHAPTERS if name.startswith(begun)]


GuideTopic = Annotated[
    str,
    typer.Argument(
        metavar="[TOPIC]",
        help="A chapter; without one, all are listed.",
        autocompletion=_topics,
    ),
]
GuideSchema = Annotated[
    str,
    typer.Option(metavar="NAME", help="JSON Schema of what --json prints: release, force, ..."),
]


def guide(
    topic: GuideTopic = "",
    schema: GuideSchema = "",
    json: AsJson = False,
) -> None:
    """Read the guide: tutorial, how-tos, Python, keys, theory; Markdown where it is piped."""
    from snapsim.guide import CHAPTERS, chapter, output_schema

    if schema:
        return emit_schema(output_schema(schema))
    if not topic:
        if json:
            return emit_json("guide", {"chapters": CHAPTERS})
        lines = [f"{name:<12}{about}" for name, about in CHAPTERS.items()]
        return emit_as_it_is("\n".join([*lines, "snapsim guide TOPIC shows one"]))
    text = chapter(topic)
    if json:
        return emit_json("guide", {"topic": topic, "markdown": text})
    if not sys.stdout.isatty():
        return emit_as_it_is(text.rstrip("\n"))
    from rich.markdown import Markdown

    return emit(Markdown(text))
