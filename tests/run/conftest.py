"""Families of scenes that tests of this folder share are found beside them."""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))
