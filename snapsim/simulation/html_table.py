"""What a notebook shows of a scene or a run: a short table."""

from __future__ import annotations

from html import escape


def html_table(title: str, rows: list[tuple[str, str]]) -> str:
    """Return the table as HTML, its texts escaped."""
    lines = "".join(f"<tr><th>{escape(a)}</th><td>{escape(b)}</td></tr>" for a, b in rows)
    return f"<table><caption>{escape(title)}</caption>{lines}</table>"
