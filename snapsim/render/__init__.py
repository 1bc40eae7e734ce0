"""Pictures and clips."""

from snapsim.render.clip import ClipReport, draw_scene, render_clip, render_still
from snapsim.render.options import ClipOptions

__all__ = ["ClipOptions", "ClipReport", "draw_scene", "render_clip", "render_still"]
