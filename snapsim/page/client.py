"""What the browser runs: this package's own files, and trame's client with Vue in it."""

from __future__ import annotations

from pathlib import Path
from typing import Final

ASSETS: Final = Path(__file__).parent / "assets"


def client_folder() -> Path:
    """Return where trame's client lies."""
    import trame_client.module.vue3 as client

    return Path(client.www)
