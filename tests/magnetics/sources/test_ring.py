"""Ring magnets against a general library's segment and against a far dipole."""

import magpylib
import numpy as np
import pytest

from snapsim.magnetics.sources import source_for
from snapsim.parts.shapes import Ring

BLANK, THIN = Ring(0.11, 0.026, 0.018), Ring(0.05, 0.048, 0.02)


@pytest.mark.parametrize("shape", [BLANK, THIN])
@pytest.mark.parametrize("m", [(0.0, 0.0, 1e6), (1e6, 0.0, 0.0), (3e5, -7e5, 2e5)])
def test_field_agrees_with_magpylibs_whole_segment(
    shape: Ring, m: tuple[float, float, float]
) -> None:
    """magpylib 6.3 CylinderSegment.getH over 360 degrees (Slanovc et al., J. Magn. Magn. Mater.
    559, 169482 (2022)), in the wall, in the bore and outside. Scale: the body's own |M|/100 or the
    field, whichever is larger: in the bore two large fields cancel."""
    rng = np.random.default_rng(2)
    points = rng.uniform(-1.3, 1.3, (60, 3)) * shape.extents
    dimension = (shape.inner_diameter / 2, shape.outer_diameter / 2, shape.length, 0, 360)
    expected = magpylib.magnet.CylinderSegment(magnetization=m, dimension=dimension).getH(points)
    error = np.linalg.norm(source_for(shape).field(points, m) - expected, axis=1)
    assert np.all(error < 1e-9 * np.maximum(np.linalg.norm(expected, axis=1), 1e4))


@pytest.mark.parametrize("shape", [BLANK, THIN])
def test_far_field_is_the_dipole_with_its_next_moment(shape: Ring) -> None:
    """Axis, M along z: H = c0 2/z^3 + c2 12/z^5 + O(1/z^7), c0 = V/(4 pi),
    c2 = c0 [h^2/3 - (R^2 + r^2)/4] (moments of P_2 over the ring; Jackson, Classical
    Electrodynamics, 3rd ed., section 4.1; from memory). At 400 extents the rest is below 1e-9 and
    the second term is 1e-5, so 1e-9 tests both."""
    z = 400 * shape.extents.max()
    outer, inner, half = shape.outer_diameter / 2, shape.inner_diameter / 2, shape.length / 2
    c0 = shape.volume / (4 * np.pi)
    c2 = c0 * (half**2 / 3 - (outer**2 + inner**2) / 4)
    expected = 1e6 * (2 * c0 / z**3 + 12 * c2 / z**5)
    assert source_for(shape).field([0, 0, z], [0, 0, 1e6])[0, 2] == pytest.approx(
        expected, rel=1e-9
    )
