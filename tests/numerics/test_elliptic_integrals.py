"""Complete elliptic integrals against scipy and against plain quadrature."""

import numpy as np
import pytest
from scipy.special import ellipe, ellipkm1

from snapsim.numerics.elliptic_integrals import complete_integrals


@pytest.mark.parametrize("kc", [0.999, 0.7, 0.2, 1e-2, 1e-5])
def test_k_and_s_agree_with_scipys_complete_integrals(kc: float) -> None:
    """K and E: scipy.special.ellipkm1, ellipe (Cephes). (K - E)/k^2 = K (1 + k^2 S)/2."""
    k2 = (1 - kc) * (1 + kc)
    k_int, s_int, _ = complete_integrals(kc, k2, 0.5)
    assert k_int == pytest.approx(ellipkm1(kc * kc), rel=1e-14)
    # 4 eps / k^2 is what the difference K - E leaves
    expected = (ellipkm1(kc * kc) - ellipe(k2)) / k2
    assert k_int * (1 + k2 * s_int) / 2 == pytest.approx(expected, rel=1e-14 + 1e-15 / k2)


def test_s_keeps_its_digits_where_the_modulus_vanishes() -> None:
    """(K - E)/k^2 = pi/4 (1 + 3/8 k^2 + ...) and K = pi/2 (1 + k^2/4 + ...) make S(0) = 1/8
    (Abramowitz & Stegun 17.3.11-17.3.12; from memory)."""
    for k2 in (0.0, 1e-18, 1e-10):
        assert complete_integrals(np.sqrt(1 - k2), k2, 0.5)[1] == pytest.approx(0.125, rel=1e-9)


@pytest.mark.parametrize("g", [0.9, 0.3, 0.02, -0.05, -0.6])
@pytest.mark.parametrize("kc", [0.95, 0.4, 0.05])
def test_third_kind_agrees_with_the_midpoint_rule(kc: float, g: float) -> None:
    """The defining integral by 4000 midpoints: even and periodic, so the rule converges as
    exp(-16000 min(kc, |g|))."""
    t = np.pi / 2 * (np.arange(4000) + 0.5) / 4000
    c2, s2 = np.cos(t) ** 2, np.sin(t) ** 2
    integrand = (c2 + g * s2) / ((c2 + g * g * s2) * np.sqrt(c2 + kc * kc * s2))
    expected = np.pi / 2 * np.mean(integrand)
    got = complete_integrals(kc, (1 - kc) * (1 + kc), g)[2]
    assert got == pytest.approx(expected, rel=1e-12, abs=1e-13)
