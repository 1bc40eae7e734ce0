"""The JSON Schema of a scene file, so that editors complete and check it."""

from __future__ import annotations

from typing import Any

from snapsim.scenario.scene import SceneDescription


def scene_schema() -> dict[str, Any]:
    """Return the JSON Schema (draft 2020-12) of a scene read from TOML."""
    schema = SceneDescription.model_json_schema()
    schema["$schema"] = "https://json-schema.org/draft/2020-12/schema"
    schema["title"] = "snapsim scene"
    _as_written(schema)
    return schema


def _as_written(node: Any) -> None:
    """Show defaults the way a file has them: quantities as text, nothing where nothing is due."""
    if isinstance(node, list):
        for entry in node:
            _as_written(entry)
    if not isinstance(node, dict):
        return
    if "default" in node:
        if node["default"] is None:
            del node["default"]
        elif "x-si-unit" in node and not isinstance(node["default"], str):
            value = node["default"]
            numbers = value if isinstance(value, list | tuple) else [value]
            node["default"] = f"{', '.join(f'{n:g}' for n in numbers)} {node['x-si-unit']}"
        elif isinstance(node["default"], dict):
            del node["default"]
    for entry in list(node.values()):
        _as_written(entry)
