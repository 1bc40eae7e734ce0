"""The fan of an ensemble: each run's own way, grown up to now, and how many came to what."""

import dataclasses

import numpy as np
import pytest
import pyvista as pv

from snapsim.mechanics.ending import EndReason, ended
from snapsim.render import palette
from snapsim.render.camera import Margins, axes_of, fit
from snapsim.render.interpolation import sample
from snapsim.render.layers.fan import POINTS, Fan, shares

ASIDE = np.array([0.01, 0.0, 0.0])


class Plotter:
    """Stands for the window: keeps what it is given."""

    def __init__(self):
        self.meshes = []

    def add_mesh(self, mesh, **_):
        self.meshes.append(mesh)
        return pv.Actor()


@pytest.fixture(scope="module")
def spared(trajectory):
    """The same without a blow, at rest."""
    return dataclasses.replace(trajectory, impacts=(), ending=ended(EndReason.AT_REST))


def test_what_became_of_the_runs_is_counted_and_what_is_not_known_is_not_called_calm(
    trajectory, spared
):
    moving = dataclasses.replace(spared, ending=ended(EndReason.TIME_UP))
    told = shares([trajectory, trajectory, spared, moving])
    assert told == [
        ("2 of 4 snap", palette.SNAPS),
        ("1 do not", palette.SPARED),
        ("1 undecided", palette.INK_SOFT),
    ]
    assert shares([trajectory]) == [("1 of 1 snap", palette.SNAPS)]


def test_a_way_is_the_run_s_own_and_goes_as_far_as_now(trajectory, spared):
    other = dataclasses.replace(spared, position=spared.position + ASIDE)
    plotter = Plotter()
    fan = Fan(plotter, [trajectory, other], [0.0], 0.3, 2.0)
    corners = np.array([[a, b, c] for a in (-0.2, 0.2) for b in (-0.2, 0.2) for c in (-0.2, 0.2)])
    view = fit(corners, axes_of(-60.0, 10.0), (640, 360), Margins(0.1, 0.1, 0.1, 0.1))
    ways = list({id(m): m for m in plotter.meshes if m.n_points == POINTS}.values())
    assert len(ways) == 2
    for time in (0.05, 0.12):
        moment = sample(trajectory, time)
        fan.show(moment, view)
        for way, aside in zip(ways, (0.0, 1.0), strict=True):
            assert way.points[-1] == pytest.approx(moment.position[1] + aside * ASIDE, abs=1e-6)
            assert way.points[0] == pytest.approx(
                trajectory.position[0, 1] + aside * ASIDE, abs=1e-6
            )
            assert way.points[:, 2].max() <= moment.position[1, 2] + 1e-6
