"""A run or a scene in 3-D, to be turned by the mouse: pyvista's own plotter, in our colours."""

from __future__ import annotations

from typing import Any

from snapsim.errors import InputError
from snapsim.extras import require_extra
from snapsim.parts.states import Pose
from snapsim.render.interpolation import sample
from snapsim.simulation.system import System
from snapsim.simulation.trajectory import Trajectory


def view(shown: System | Trajectory, time: float | None = None, **options: Any) -> Any:
    """Return a pyvista Plotter of a scene as placed, or of a run at `time` [s] (its end if not
    given), z upward; `.show()` draws it. `options` go to the plotter.

    Raises InputError for a time outside the run, or anything that is neither.
    """
    if isinstance(shown, Trajectory):
        system, pose = shown.system, _at(shown, time)
    elif isinstance(shown, System):
        system, pose = shown, shown.start.pose
    else:
        raise InputError(f"{type(shown).__name__} is neither a scene nor a run", key="view")
    require_extra("notebook", "a view in 3-D", "pyvista")
    import pyvista as pv

    from snapsim.render.actors import pose_matrix
    from snapsim.render.solid import surfaces

    plotter = pv.Plotter(**options)
    for i, body in enumerate(system.bodies):
        matrix = pose_matrix(pose.position[i], pose.quaternion[i])
        for k, surface in enumerate(surfaces(body)):
            placed = surface.mesh.transform(matrix, inplace=False)
            name = f"{body.name} {k}"
            plotter.add_mesh(placed, color=surface.colour, opacity=surface.opacity, name=name)
    plotter.camera_position = [(0.6, -1.0, 0.25), (0.0, 0.0, 0.0), (0.0, 0.0, 1.0)]
    plotter.renderer.ResetCamera()
    return plotter


def _at(run: Trajectory, time: float | None) -> Pose:
    end = float(run.time[-1])
    if time is None:
        return Pose(run.position[-1], run.quaternion[-1])
    if not 0 <= time <= end:
        raise InputError(f"{time:g} s is not in the run; 0 to {end:g} s is", key="time")
    moment = sample(run, time)
    return Pose(moment.position, moment.quaternion)
