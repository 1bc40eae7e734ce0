"""Pictures and clips. What draws in 3-D is imported when asked for: figures do without it."""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

from snapsim.extras import require_extra

if TYPE_CHECKING:
    from snapsim.render.cameras.shot import Key, Shot
    from snapsim.render.clip import (
        ClipReport,
        add_sound,
        add_story_sound,
        draw_scene,
        render_clip,
        render_still,
        render_story,
        write_captions,
        write_markers,
        write_story_captions,
    )
    from snapsim.render.options import LAYERS, ClipOptions, layers_of

__all__ = [
    "LAYERS",
    "ClipOptions",
    "ClipReport",
    "Key",
    "Shot",
    "add_sound",
    "add_story_sound",
    "draw_scene",
    "layers_of",
    "render_clip",
    "render_still",
    "render_story",
    "write_captions",
    "write_markers",
    "write_story_captions",
]

_ELSEWHERE = {
    "Key": "cameras.shot",
    "Shot": "cameras.shot",
    "LAYERS": "options",
    "ClipOptions": "options",
    "layers_of": "options",
}
"""Where the names are that need nothing that draws; all others are in `clip`."""


def __getattr__(name: str) -> Any:
    if name not in __all__:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    if name not in _ELSEWHERE:
        require_extra("clip", "a clip")
    return getattr(import_module(f"{__name__}.{_ELSEWHERE.get(name, 'clip')}"), name)
