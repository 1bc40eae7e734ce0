"""Scene files in: reading, checking, building a system."""

from snapsim.scenario.loading import load_scene, scene_from_text

__all__ = ["load_scene", "scene_from_text"]
