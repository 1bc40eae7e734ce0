"""Pictures and clips."""

from snapsim.render.cameras.shot import Key, Shot
from snapsim.render.clip import (
    ClipReport,
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
    "draw_scene",
    "layers_of",
    "render_clip",
    "render_still",
    "render_story",
    "write_captions",
    "write_markers",
    "write_story_captions",
]
