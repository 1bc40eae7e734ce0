"""Ten parts under one magnet run to the end with every joule accounted for."""

import sys
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parent))

from cost_of_many_parts import run


@pytest.mark.slow
@pytest.mark.longer
def test_ten_parts_under_one_magnet_run_with_their_energy_audited():
    found, _ = run(10, 0.03)
    assert found.outcome in ("settled", "moving")
    assert found.audit.unaccounted_fraction < 1e-3
    assert found.audit.event_gain < 1e-9
    leapt = found.position[-1, 2:, 2] - found.position[0, 2:, 2]
    assert np.count_nonzero(leapt > 0.005) >= 3
