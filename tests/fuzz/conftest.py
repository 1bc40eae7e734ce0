import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2]))  # the harness is a package that workers run
