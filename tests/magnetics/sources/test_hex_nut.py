"""Nut magnets against a general library's triangle mesh less its cylinder."""

import magpylib
import numpy as np
import pytest

from snapsim.magnetics.sources import source_for
from snapsim.magnetics.sources.hex_nut import prism
from snapsim.parts.shapes import HexNut

NUT = HexNut(across_flats=0.03, bore=0.016, length=0.012)


@pytest.mark.parametrize("m", [(0.0, 0.0, 1e6), (1e6, 0.0, 0.0), (3e5, -7e5, 2e5)])
def test_field_agrees_with_magpylibs_mesh(m: tuple[float, float, float]) -> None:
    """magpylib 6.3 TriangularMesh.getH (Guptasarma & Singh, Geophysics 64, 70 (1999)) of the
    prism, less Cylinder.getH of the bore; scale as for the ring."""
    outline = NUT.outline
    triangles = [
        [face[0], face[i], face[i + 1]]
        for face in prism(outline.polygon, outline.half_length)
        for i in range(1, len(face) - 1)
    ]
    corners, index = np.unique(np.reshape(triangles, (-1, 3)), axis=0, return_inverse=True)
    mesh = magpylib.magnet.TriangularMesh(
        magnetization=m, vertices=corners, faces=index.reshape(-1, 3)
    )
    bore = magpylib.magnet.Cylinder(magnetization=m, dimension=(NUT.bore, NUT.length))
    points = np.random.default_rng(4).uniform(-1.6, 1.6, (200, 3)) * NUT.extents
    expected = mesh.getH(points) - bore.getH(points)
    error = np.linalg.norm(source_for(NUT).field(points, m) - expected, axis=1)
    assert np.all(error < 1e-9 * np.maximum(np.linalg.norm(expected, axis=1), 1e4))


def test_far_field_is_the_dipole_with_its_next_moment() -> None:
    """Axis: H = M V/(4 pi) [2/z^3 + 12 (<z^2> - <x^2 + y^2>/2)/z^5 + O(1/z^7)] (Jackson, Classical
    Electrodynamics, 3rd ed., section 4.1; from memory), the means from the shape's gyration. At
    300 extents the second term is 1.5e-5, the rest below 1e-9 and rounding below 1e-8."""
    z = 300 * NUT.extents.max()
    across = NUT.gyration[2, 2]
    along = (NUT.gyration[0, 0] + NUT.gyration[1, 1] - across) / 2
    expected = 1e6 * NUT.volume / (4 * np.pi) * (2 / z**3 + 12 * (along - across / 2) / z**5)
    assert source_for(NUT).field([0, 0, z], [0, 0, 1e6])[0, 2] == pytest.approx(expected, rel=1e-7)


def test_corners_edges_and_faces_give_finite_fields() -> None:
    corners = np.concatenate(prism(NUT.outline.polygon, NUT.outline.half_length))
    points = np.concatenate([corners, (corners + np.roll(corners, 1, axis=0)) / 2, 2 * corners])
    h, g = source_for(NUT).field_and_gradient(points, [3e5, -7e5, 2e5])
    assert np.all(np.isfinite(h))
    assert np.all(np.isfinite(g))
