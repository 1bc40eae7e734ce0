"""Mean magnetisation of permeable bodies in a uniform field: 0.3 % at `fine` after extrapolation.

alpha = <M> / H0. Cube, infinite: 3.6442, Sihvola, Yla-Oijala, Jarvenpaa & Avelin, IEEE Trans.
Antennas Propag. 52, 2226 (2004), and 3.6443052, Helsing & Perfekt, arXiv:1203.5997; cylinder as
long as wide, infinite: 3.8614 axial and 3.1707 transverse, Venermo & Sihvola, J. Electrostat. 63,
101 (2005) (digits from memory). Finite susceptibilities: independent computations, prisms by
charged panels (3e-5) and cylinders by a boundary integral with dyadic panels (2e-7), which meet
those digits; tables of the kind in Chen, Brug & Goldfarb, IEEE Trans. Magn. 27, 3601 (1991) and
Chen, Pardo & Sanchez, J. Magn. Magn. Mater. 306, 135 (2006), not opened. Ball: 3 chi/(chi + 3),
Jackson, 3rd ed., section 5.11 (from memory).
"""

import numpy as np
import pytest

from snapsim.magnetics.cells import extrapolated, refinement_pair
from snapsim.magnetics.cells.contract import CellMesh
from snapsim.magnetics.demagnetization import shifted_inverse
from snapsim.magnetics.operator_cache import kept_operator
from snapsim.parts.shapes import Box, Cylinder, Shape, Sphere

INFINITE = 1e6
"""Stands for infinity: 1/alpha changes by 1e-6 of it."""

PRISMS = {
    Box((1, 1, 1)): {9: 2.51123, 99: 3.49671, 999: 3.62907, INFINITE: 3.64431},
    Box((1, 1, 0.2)): {9: 1.32089, 999: 1.58304},
    Box((1, 1, 5)): {9: 5.71851, 999: 17.20483},
}
"""alpha along z, by chi."""

CYLINDERS = {
    (1, 2): {9: 0.268769, 99: 0.260055, 999: 0.259083, INFINITE: 0.258973},
    (1, 0): {9: 0.321992, 99: 0.316155, 999: 0.315463, INFINITE: 0.315385},
    (0.1, 2): {9: 0.761112, 999: 0.750411},
    (0.1, 0): {9: 0.088229, 999: 0.085290},
    (5, 2): {9: 0.056914, 999: 0.050677},
    (5, 0): {9: 0.448330, 999: 0.443699},
}
"""N = 1/alpha - 1/chi, by (length over diameter, axis) and chi."""

CASES = (
    [(shape, 2, chi, a) for shape, row in PRISMS.items() for chi, a in row.items()]
    + [
        (Cylinder(1, length), axis, chi, 1 / (n + 1 / chi))
        for (length, axis), row in CYLINDERS.items()
        for chi, n in row.items()
    ]
    + [(Sphere(1), 2, chi, 3 * chi / (chi + 3)) for chi in (9, 99, 999, INFINITE)]
)


def polarizability(cells: CellMesh, axis: int, susceptibility: float) -> float:
    """<M> / H0 along an axis."""
    operator = kept_operator(cells)
    field = np.zeros((len(cells.volume), 3))
    field[:, axis] = cells.volume
    classes = operator.to_classes(field)
    driven = np.abs(classes).max(axis=1) > 1e-12 * np.abs(classes).max()  # one of eight
    inverse = shifted_inverse(
        operator.blocks[driven], np.repeat(operator.volume, 3), susceptibility
    )
    classes[driven] = np.matmul(inverse, classes[driven][:, :, None])[:, :, 0]
    m = operator.from_classes(classes)
    return float(cells.volume @ m[:, axis] / cells.volume.sum())


@pytest.mark.slow
@pytest.mark.parametrize(("shape", "axis", "chi", "published"), CASES)
def test_fine_cells_extrapolate_to_the_published_polarizability(
    shape: Shape, axis: int, chi: float, published: float
) -> None:
    pair = refinement_pair(shape, "fine")
    found = float(extrapolated(*(polarizability(cells, axis, chi) for cells in pair)))
    assert found == pytest.approx(published, rel=3e-3)
