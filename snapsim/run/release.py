"""Release: let the free bodies go and follow them to rest, to the end of the run or off the stage.

Couples `magnetics.model` (force and torque of a pose) with `mechanics.motion` and audits the
energy along the way: kinetic energy K, gravity's U = -m g.x, magnetic energy E. Without losses
K + U + E is constant, so what blows and friction are not booked for is unaccounted.
"""

from __future__ import annotations

import time as clock
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace

import numpy as np

from snapsim.magnetics.cells.contract import CellMesh
from snapsim.magnetics.model import MagneticModel
from snapsim.mechanics.contact import ContactGeometry
from snapsim.mechanics.contact_springs import contact_stiffness
from snapsim.mechanics.ending import EndReason
from snapsim.mechanics.material_restitution import MaterialRestitution
from snapsim.mechanics.motion import Motion
from snapsim.mechanics.motion_problem import MotionProblem
from snapsim.mechanics.motion_settings import MotionSettings
from snapsim.mechanics.records import Frame
from snapsim.mechanics.rigid_bodies import RigidBodies, rigid_bodies
from snapsim.parts.states import State
from snapsim.run.blow_error import blow_errors
from snapsim.run.braking import with_braking_doubt
from snapsim.run.run_log import RunLog, Until
from snapsim.run.steps import steps_of
from snapsim.simulation.close_soft_parts import closest_of
from snapsim.simulation.current_stages import StagedLoads, standing_at
from snapsim.simulation.eddy_brake import EddyBrake, eddy_brake
from snapsim.simulation.eddy_loss import eddy_estimate
from snapsim.simulation.energy_between_poses import FEW, MANY, EnergyBetweenPoses, pose_space
from snapsim.simulation.loads import MagneticLoads, flight_tolerance, interpolation_shares
from snapsim.simulation.overlap import refuse_overlaps
from snapsim.simulation.system import System
from snapsim.simulation.trajectory import Trajectory
from snapsim.work.interrupts import checkpoint

ReleaseProgress = Callable[[float, float], None]
"""Called with the simulated time [s] and the largest present speed [m/s]."""


def release(
    system: System,
    progress: ReleaseProgress | None = None,
    settings: MotionSettings | None = None,
    meshes: Mapping[int, CellMesh] | None = None,
    until: Until | None = None,
    estimates: bool = True,
    frames: bool = True,
    magnetisation: bool = True,
    *,
    loads: StagedLoads | None = None,
) -> Trajectory:
    """Simulate the release of `system`; an interrupt ends it as "stopped" with what was reached.

    Raises OverlapError where bodies start inside each other, and KeyboardInterrupt where nothing
    was reached.

    `meshes` gives the cells of some soft bodies, by number, in place of `system.detail`. `until`
    may end the run at a blow, also as "stopped". Without `estimates` nothing is said of eddy
    currents and of soft parts that come close, which takes some hundredths of a second; without
    `magnetisation`, for runs that nobody will look at, nothing of these nor of how the parts are
    magnetised at the frames. Without `frames` no frame is solved as a check of the others either.
    `loads` are those of another release of the same bodies with the same settings (`shared_loads`):
    what it has solved is known.
    """
    refuse_overlaps(system)
    began = clock.perf_counter()
    steps = settings or steps_of(system)
    loads = loads.serving(system) if loads else shared_loads(system, steps, meshes)
    bodies = rigid_bodies(system.bodies)
    geometry = ContactGeometry(system.bodies, system.surfaces)
    brakes = stage_brakes(system, loads)
    motion = Motion(motion_problem(system, bodies, geometry, loads, steps, brakes))
    watched = motion.bearing, steps, frames, magnetisation
    log = RunLog(system, bodies, loads, geometry, *watched, brake=brakes[0])
    try:
        for item in motion.run():
            log.take(item)
            checkpoint()
            if progress is not None and isinstance(item, Frame):
                progress(item.time, _top_speed(item.state))
            reason = log.ends_here(item, until)
            if reason is not None:
                log.cut_short(reason, motion)
                break
    except KeyboardInterrupt:
        log.cut_short(EndReason.INTERRUPTED, motion)
        if not log.frames:  # nothing was reached
            raise
    run = log.trajectory(began)
    errors = with_braking_doubt(run, blow_errors(run, meshes))
    run = replace(run, accuracy={**run.accuracy, **errors})
    if not (estimates and magnetisation):
        return run
    return replace(run, accuracy={**run.accuracy, **eddy_estimate(run), **closest_of(run)})


def not_interrupted(run: Trajectory) -> Trajectory:
    """Return a run; raises KeyboardInterrupt where that is what ended it: half a run is no fate, no
    row of a sweep and nothing to lay tracks over."""
    if run.reason == EndReason.INTERRUPTED:
        raise KeyboardInterrupt
    return run


def shared_loads(
    system: System,
    settings: MotionSettings | None = None,
    meshes: Mapping[int, CellMesh] | None = None,
) -> StagedLoads:
    """Return the loads of a run, for several releases of the same bodies one after the other.

    They are interpolated between solved poses where the steps' bounds allow it; where currents
    change there are such loads for each stage of them.
    """
    steps = settings or steps_of(system)
    several = sum(system.has_cells(body) for body in system.bodies) > 1
    tolerance = flight_tolerance(steps.tolerances.of_loads, several)
    model = MagneticModel(
        system.bodies, system.detail, tolerance, meshes=meshes, recoil=system.recoil
    )
    shares = interpolation_shares(steps.tolerances.of_loads, several)
    acting = sorted({*model.soft, *model.magnets})
    space = pose_space(system.bodies, acting, system.gravity, MANY if several else FEW)

    def alike(standing: System) -> MagneticLoads:
        there = model.with_currents(standing.bodies)
        if shares is None or space is None:
            return MagneticLoads(there)
        return MagneticLoads(there, EnergyBetweenPoses(space), shares)

    return StagedLoads(system, alike)


def stage_brakes(system: System, loads: StagedLoads) -> list[EddyBrake | None]:
    """Return what conductors do in each stage of the currents; not what a change induces."""
    if not system.eddy_currents:
        return [None] * len(loads.stages)
    stages = (standing_at(system, stage.middle) for stage in loads.stages)
    return [eddy_brake(now) for now in stages]


def motion_problem(
    system: System,
    bodies: RigidBodies,
    geometry: ContactGeometry,
    loads: StagedLoads,
    settings: MotionSettings,
    brakes: Sequence[EddyBrake | None] = (),
) -> MotionProblem:
    """Return the initial value problem of a system under its magnetic loads: that of the first
    stage of its currents, each leading to that of the next."""
    problem: MotionProblem | None = None
    for number in reversed(range(len(loads.stages))):
        problem = MotionProblem(
            bodies,
            geometry,
            system.surfaces,
            lambda pose, n=number: loads.of(n).flight(pose),  # type: ignore[misc]
            system.gravity,
            system.start,
            system.duration,
            system.joints,
            contact_loads=lambda pose, n=number: loads.of(n).contact(pose),  # type: ignore[misc]
            stiffness=contact_stiffness(system.bodies),
            rebounds=MaterialRestitution(system.bodies),
            settings=settings,
            brake=brakes[number] if brakes else None,
            until=loads.stages[number].end,
            later=problem,
        )
    assert problem is not None
    return problem


def _top_speed(state: State) -> float:
    return float(np.linalg.norm(state.velocity, axis=1).max())
