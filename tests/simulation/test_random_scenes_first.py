"""Random scenes 0 to 49 of 200 end, do not sink, account for their energy; others beside.

Four files, since a file's tests run in one process.
"""

import pytest
from random_audit import check, seeds


@pytest.mark.slow
@pytest.mark.parametrize("seed", seeds(0, 50))
def test_a_random_scene_ends_without_sinking_or_energy_unaccounted(seed):
    check(seed)
