"""Gathers what a motion reports into a `Trajectory`: frames with their loads, blows, the audit.

Without losses the sum of kinetic energy K, gravity's U = -m g.x and magnetic energy E is constant,
so what blows and friction are not booked for is unaccounted.
"""

from __future__ import annotations

import time as clock
from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict, dataclass, field, replace
from functools import cached_property
from typing import Literal

import numpy as np

from snapsim.arrays import Array, IntArray
from snapsim.magnetics.model import MagneticState
from snapsim.mechanics.chip_chance import chip_chances
from snapsim.mechanics.contact import ContactGeometry
from snapsim.mechanics.edge_stress import magnet_edge_stress
from snapsim.mechanics.ending import Ending, EndReason, ended
from snapsim.mechanics.fastest_point import fastest_closing
from snapsim.mechanics.motion import Item, Motion
from snapsim.mechanics.motion_settings import MotionSettings
from snapsim.mechanics.peak_force import peak_force_band
from snapsim.mechanics.records import BodyLoads, End, Frame, LoadChange, PairBlow, Strike
from snapsim.mechanics.rigid_bodies import RigidBodies
from snapsim.numerics import rotations
from snapsim.parts.states import Pose, State
from snapsim.simulation.current_stages import StagedLoads
from snapsim.simulation.eddy_brake import EddyBrake
from snapsim.simulation.energy_between_poses import PoseEnergy
from snapsim.simulation.loads import MagneticLoads
from snapsim.simulation.magnetisation_between_poses import (
    LENGTH,
    Guess,
    MagnetisationBetweenPoses,
)
from snapsim.simulation.overlap_depth import deepest_overlap
from snapsim.simulation.system import System
from snapsim.simulation.trajectory import (
    Audit,
    Cells,
    Cost,
    Impact,
    Load,
    Trajectory,
)


def _body_load(loads: BodyLoads, i: int) -> Load:
    return Load(
        peak_force=float(loads.peak_force[i]),
        peak_time=float(loads.peak_time[i]),
        peak_torque=float(loads.peak_torque[i]),
        torque_time=float(loads.torque_time[i]),
        last_force=float(loads.last_force[i]),
        last_torque=float(loads.last_torque[i]),
    )


CORNERS = 48
"""Pieces of a circle whose corners a round body's surface is looked at by."""

Until = Callable[[Impact], EndReason | None]
"""Asked at each blow whether the run ends there: the reason, or None to go on."""

EVEN = 1e-6
"""Share by which kinetic energies must differ before the second body counts as the moving one."""


CHECKED = 8
"""Frames with interpolated loads after which one is solved: checks the interpolation, feeds it."""

PATIENT = 32
"""The most such frames: their number doubles with every check that finds nothing new."""

FAITHFUL = 5e-3
"""Error of a frame's magnetisation (root mean square, as a share of itself) above which the frame
is solved: below what the cells of `fine` err by."""


@dataclass(frozen=True)
class FrameLoads:
    """What acts at a frame: magnetic `force` and `torque` (n, 3) [N, N m], energy [J], smallest
    `gap` to a magnet [m], what is borne (n + j, 2) and, where it was solved for, the soft parts'
    `magnetisation` [A/m]."""

    force: Array
    torque: Array
    energy: float
    gap: float
    bearing: Array
    magnetisation: tuple[Array, ...] | None = None

    def solved(self, state: MagneticState) -> FrameLoads:
        """Return the same frame with what was solved for."""
        return replace(
            self,
            force=state.force,
            torque=state.torque,
            energy=state.energy,
            magnetisation=state.magnetisation,
        )


@dataclass
class RunLog:
    """Gathers what a motion reports."""

    system: System
    bodies: RigidBodies
    staged: StagedLoads
    geometry: ContactGeometry
    bearing: Callable[[], Array]
    settings: MotionSettings
    checked: bool
    shown: bool
    brake: EddyBrake | None = None
    frames: list[Frame] = field(default_factory=list)
    rows: list[FrameLoads] = field(default_factory=list)
    impacts: list[Impact] = field(default_factory=list)
    end: End | None = None
    stages: list[int] = field(default_factory=list)
    supplied: list[float] = field(default_factory=list)
    _stage: int = 0
    _supplied: float = 0.0
    _taken: tuple[int, int] = 0, 0
    _since_solved: int = 0
    _patience: int = CHECKED
    _magnetisation_error: float = 0.0

    @property
    def loads(self) -> MagneticLoads:
        """The loads of the present stage of the currents."""
        return self.staged.of(self._stage)

    def take(self, item: Item) -> None:
        """Keep one report."""
        if isinstance(item, Frame):
            self._keep(item)
        elif isinstance(item, Strike):
            self._keep(Frame(item.time, item.before, item.tally_before, True, item.stirred))
            self._keep(Frame(item.time, item.after, item.tally_after, True, item.stirred))
            self.impacts += [self._impact(item, blow) for blow in item.blows]
        elif isinstance(item, LoadChange):
            self._change(item.frame)
        else:
            self.end = item
        self._taken = len(self.frames), len(self.impacts)

    def ends_here(self, item: Item, until: Until | None) -> EndReason | None:
        """Return why the run ends at `item`, which has been taken; None where it goes on."""
        if until is None or not isinstance(item, Strike):
            return None
        found = (until(impact) for impact in self.impacts[-len(item.blows) :])
        return next((reason for reason in found if reason is not None), None)

    def cut_short(self, reason: EndReason, motion: Motion) -> None:
        """End a motion that was broken off, with what was taken whole."""
        frames, impacts = self._taken
        del self.frames[frames:], self.rows[frames:], self.impacts[impacts:]
        del self.stages[frames:], self.supplied[frames:]
        self.end = motion.broken_off(reason)

    def _change(self, frame: Frame) -> None:
        """Keep a frame before and after the currents change: what that does to the magnetic energy
        is their supply's work."""
        self._keep(frame, solve=True)
        before = self.rows[-1].energy
        self._stage += 1
        self._since_solved, self._patience = 0, CHECKED
        self._keep(frame, solve=True)
        self._supplied += self.rows[-1].energy - before
        self.supplied[-1] = self._supplied

    def _keep(self, frame: Frame, solve: bool = False) -> None:
        """Keep a frame with its loads, solved for unless they are known."""
        pose = frame.state.pose
        known = (None if solve else self._known(pose)) or self._solved(pose)
        state = known if isinstance(known, MagneticState) else None
        self._since_solved = 0 if state is not None else self._since_solved + 1
        self.frames.append(frame)
        self.stages.append(self._stage)
        self.supplied.append(self._supplied)
        self.rows.append(
            FrameLoads(
                known.force,
                known.torque,
                known.energy,
                self._magnet_gap(frame.state),
                self.bearing(),
                None if state is None else state.magnetisation,
            )
        )

    def _known(self, pose: Pose) -> PoseEnergy | None:
        """Loads of a frame where they can be interpolated and it is not time for a check."""
        due = self.checked and self._since_solved >= self._patience
        return None if due else self.loads.glance(pose)

    def _solved(self, pose: Pose) -> MagneticState:
        """Solve a frame; how well it was known says when the next check is due."""
        surprises = self.loads.surprises
        found = self.loads.state(pose)
        known = self.loads.surprises == surprises
        self._patience = min(2 * self._patience, PATIENT) if known else CHECKED
        return found

    def _magnet_gap(self, state: State) -> float:
        """Smallest distance between a free body and another body that is a magnet [m]."""
        gaps = self.geometry.gaps(state.pose, self._snapping)
        return float(gaps.min()) if len(gaps) else float("nan")

    @cached_property
    def _snapping(self) -> IntArray:
        """Numbers of the pairs that are a free body and another body that is a magnet."""
        pairs = self.geometry.pairs.tolist()
        return np.flatnonzero([self._snaps(a, b) or self._snaps(b, a) for a, b in pairs])

    def _snaps(self, part: int, magnet: int) -> bool:
        body, other = self.system.bodies[part], self.system.bodies[magnet]
        return not body.fixed and other.is_magnet

    def _impact(self, strike: Strike, blow: PairBlow) -> Impact:
        a, b = int(blow.pair[0]), int(blow.pair[1])
        normal, impulse = blow.normal, blow.impulse
        energies = self.bodies.kinetic_energies(strike.before)
        if self.system.bodies[a].fixed or energies[a] < energies[b] * (1 - EVEN):
            a, b, normal, impulse = b, a, -normal, -impulse
        first, second = self.system.bodies[a], self.system.bodies[b]
        energy = energies[a]
        mass, speed = blow.effective_mass, max(blow.closing_speed, 0.0)
        taken = max(0.5 * mass * speed**2, blow.stored)
        as_speed = float(np.sqrt(2 * taken / mass))
        turns = strike.before.pose.quaternion
        outward = (
            rotations.rotate_back(turns[a], -normal),
            rotations.rotate_back(turns[b], normal),
        )
        return Impact(
            strike.time,
            first.name,
            second.name,
            blow.point,
            normal,
            speed,
            float(energy),
            mass,
            taken if blow.struck_through else 0.5 * mass * speed**2,
            float(impulse @ normal),
            peak_force_band(first, second, mass, as_speed, blow.area, outward),
            blow.area,
            *magnet_edge_stress(first, second, mass, as_speed),
            chip_chances(first, second, mass, as_speed, blow.area, outward),
            fastest=self._fastest(strike, blow),
            struck_through=blow.struck_through,
            jammed=blow.jammed,
        )

    def _fastest(self, strike: Strike, blow: PairBlow) -> float:
        """Closing speed of the fastest point of the faces that met [m/s]."""
        a, b = self._corners[blow.pair[0]], self._corners[blow.pair[1]]
        met = blow.pair, blow.point, blow.normal
        fastest = fastest_closing(strike.before, *met, (a, b))
        return max(fastest, blow.closing_speed) if blow.jammed else fastest

    @cached_property
    def _corners(self) -> list[Array]:
        """Corners (k, 3) of the bodies' surfaces, in their own axes [m]."""
        return [body.shape.surface(CORNERS)[0] for body in self.system.bodies]

    def trajectory(self, began: float) -> Trajectory:
        """Put everything together; `began` is when the run did, by `time.perf_counter` [s]."""
        assert self.end is not None
        system, end = self.system, self.end
        if self.shown:
            self._solve(len(self.rows) - 1)
        magnetisation = self._magnetisation() if self.shown else {}
        states = [f.state for f in self.frames]
        energy, work = self._energies(), self._work()
        position = np.array([s.pose.position for s in states])
        quaternion = np.array([s.pose.quaternion for s in states])
        deepest, _ = deepest_overlap(system.bodies, position[1:], quaternion[1:])
        audit = replace(self._audit(energy, work), deepest_overlap=deepest)
        return Trajectory(
            system=system,
            ending=judged(end, audit, self.settings),
            time=np.array([f.time for f in self.frames]),
            position=position,
            quaternion=quaternion,
            velocity=np.array([s.velocity for s in states]),
            spin=np.array([s.spin for s in states]),
            force=self._column("force") + self._braking[:, :, :3],
            torque=self._column("torque") + self._braking[:, :, 3:],
            energy=energy,
            gap=self._column("gap"),
            cells=self._cells(),
            magnetisation=magnetisation,
            impacts=tuple(self.impacts),
            loads=self._loads(end),
            audit=audit,
            cost=Cost(
                sum(one.evaluations for one in self.staged.all),
                end.steps,
                clock.perf_counter() - began,
            ),
            accuracy=self._accuracy(end),
            work=work,
            bearing=self._borne(),
            currents=self._currents(),
        )

    @property
    def _braking(self) -> Array:
        """What eddy currents do to the bodies at the frames (k, n, 6) [N, N m]."""
        still = np.zeros((len(self.system.bodies), 6))
        return np.array([still if f.stirred is None else f.stirred.wrench for f in self.frames])

    def _currents(self) -> dict[str, Array]:
        """How much there is of each conductor's modes at the frames (k, m)."""
        if self.brake is None:
            return {}
        still = np.zeros(len(self.brake.time))
        rows = [still if f.stirred is None else f.stirred.amplitude for f in self.frames]
        parts = self.brake.parted(np.array(rows))
        return {self.system.bodies[i].name: part for i, part in parts.items()}

    def _cells(self) -> dict[str, Cells]:
        """The cells of the soft parts, by their names."""
        model, bodies = self.loads.model, self.system.bodies
        return {
            bodies[i].name: Cells(model.cells[i].centre, model.cells[i].volume) for i in model.soft
        }

    def _solve(self, k: int) -> None:
        """Solve for frame k unless that was done."""
        if self.rows[k].magnetisation is None:
            loads = self.staged.of(self.stages[k])
            self.rows[k] = self.rows[k].solved(loads.state(self.frames[k].state.pose))

    def _borne(self) -> dict[str, Array]:
        """What fixed bodies and joints bore at the frames, (k, 2) each."""
        system, columns = self.system, self._column("bearing")
        fixed = {b.name: columns[:, i] for i, b in enumerate(system.bodies) if b.fixed}
        joints = columns[:, len(system.bodies) :].swapaxes(0, 1)
        return fixed | {j.name: c for j, c in zip(system.joints, joints, strict=True)}

    def _loads(self, end: End) -> dict[str, Load]:
        """What each fixed body and each joint bore."""
        found = {
            body.name: _body_load(end.loads, i)
            for i, body in enumerate(self.system.bodies)
            if body.fixed
        }
        for joint, record in zip(self.system.joints, end.joints, strict=False):
            found[joint.name] = Load(**asdict(record))
        return found

    def _column(self, name: Literal["force", "torque", "energy", "gap", "bearing"]) -> Array:
        return np.array([getattr(row, name) for row in self.rows], dtype=np.float64)

    def _magnetisation(self) -> Mapping[str, Array]:
        """Of each soft part at the frames (k, c, 3); mixed where a frame was not solved for."""
        if not self.loads.model.soft:
            return {}
        rows: list[Array | None] = [_flat(row.magnetisation) for row in self.rows]
        for stage in sorted(set(self.stages)):
            self._fill(rows, stage)
        table = np.array(rows)
        found, at = {}, 0
        for i in self.loads.model.soft:
            count = len(self.loads.model.cells[i].volume)
            part = table[:, at : at + 3 * count]
            found[self.system.bodies[i].name] = part.reshape(len(table), count, 3)
            at += 3 * count
        return found

    def _fill(self, rows: list[Array | None], stage: int) -> None:
        """Fill in the frames of a stage that were not solved for."""
        mine = [k for k, at in enumerate(self.stages) if at == stage]
        while missing := [k for k in mine if rows[k] is None]:
            between, guess = self._guessed(missing, self.staged.of(stage))
            doubtful = [k for k, e in zip(missing, guess.error, strict=True) if e > FAITHFUL]
            if not doubtful:
                worst = float(guess.error.max())
                self._magnetisation_error = max(self._magnetisation_error, worst)
                for k, row in zip(missing, between.mixed(guess), strict=True):
                    rows[k] = row
                break
            for k in middles(doubtful):
                self._solve(k)
                rows[k] = _flat(self.rows[k].magnetisation)

    def _guessed(
        self, frames: list[int], loads: MagneticLoads
    ) -> tuple[MagnetisationBetweenPoses, Guess]:
        """What the solved poses say of the magnetisation at some frames of one stage."""
        assert loads.between is not None
        space = loads.between.space
        between = MagnetisationBetweenPoses(
            np.array([space.place(pose)[0] for pose, _ in loads.solutions]),
            np.array([_flat(m) for _, m in loads.solutions]),
            LENGTH * float(space.gyration.max()),
        )
        points = np.array([space.place(self.frames[k].state.pose)[0] for k in frames])
        return between, between.guess(points)

    def _energies(self) -> dict[str, Array]:
        """Energies at the frames (k,) [J]; gravity and magnetic ones from zero at the start."""
        free = self.bodies.free
        weight = self.bodies.mass[free, None] * self.system.gravity
        height = np.array([np.sum(weight * f.state.pose.position[free]) for f in self.frames])
        magnetic = self._column("energy")
        kinetic = [float(np.sum(self.bodies.kinetic_energies(f.state))) for f in self.frames]
        tallies = [f.tally for f in self.frames]
        heat = np.array([t.heat for t in tallies])
        energies = {
            "kinetic": np.array(kinetic),
            "gravity": height[0] - height,
            "magnetic": magnetic,
            "dissipated": np.array([t.impact_loss + t.friction_loss for t in tallies]) + heat,
        }
        if self.brake is None:
            return energies
        stored = [0.0 if f.stirred is None else f.stirred.stored for f in self.frames]
        return energies | {"joule_heat": heat, "currents": np.array(stored)}

    def _work(self) -> dict[str, Array]:
        """Work done since the start, at the frames (k,) [J]."""
        tallies = [f.tally for f in self.frames]
        found = {
            "field": np.array([t.work for t in tallies]),
            "hold": np.array([t.hold_work for t in tallies]),
        }
        if len(self.staged.stages) > 1:
            found["supply"] = np.array(self.supplied)
        return found

    def _audit(self, energy: Mapping[str, Array], done: Mapping[str, Array]) -> Audit:
        """Compare at every frame; the books say what the field and hands did and what was lost."""
        tally = self.frames[-1].tally
        change = {key: values - values[0] for key, values in energy.items()}
        supplied = done.get("supply", np.zeros(1))
        change["magnetic"] = change["magnetic"] - supplied
        potential = change["gravity"] + change["magnetic"]
        lost = change["dissipated"] + change.get("currents", 0.0)
        scale = max(float(np.max(-potential)), float(energy["kinetic"].max()), self._least())
        pressed = np.array([f.tally.contact_work for f in self.frames])
        work = done["field"] + done["hold"] - change["gravity"]
        work = work + pressed - lost
        balance = change["kinetic"] + potential + lost - done["hold"]
        unaccounted = float(np.abs(balance).max())
        return Audit(
            magnetic_released=-float(change["magnetic"][-1]),
            gravity_released=-float(change["gravity"][-1]),
            kinetic_change=float(change["kinetic"][-1]),
            impact_loss=tally.impact_loss,
            friction_loss=tally.friction_loss,
            joule_heat=tally.heat,
            current_energy=float(energy["currents"][-1]) if "currents" in energy else 0.0,
            unaccounted=unaccounted,
            unaccounted_fraction=unaccounted / scale,
            field_error=float(np.abs(done["field"] + change["magnetic"]).max()),
            integrator_error=float(np.abs(change["kinetic"] - work).max()),
            event_gain=tally.event_gain,
            hold_work=tally.hold_work,
            supply_work=float(supplied[-1]),
            field_work=tally.work,
            all_work=float(work[-1]),
            correction_taken=tally.correction_taken,
            correction_given=tally.correction_given,
        )

    def _least(self) -> float:
        """What loads do over the touching gap [J]: less is not told apart from rest."""
        weight = self.bodies.mass[:, None] * self.system.gravity
        load = np.linalg.norm(self._column("force") + weight, axis=2)[:, self.bodies.free]
        return max(self.settings.touch * float(load.sum(axis=1).max()), 1e-12)

    def _accuracy(self, end: End) -> dict[str, float | str]:
        return {
            "detail": self.system.detail,
            "solver_bound_J": max(one.worst_bound for one in self.staged.all),
            "unconverged_evaluations": float(sum(one.unconverged for one in self.staged.all)),
            "contact_misfit_m_s": end.misfit,
            "unsolved_steps": float(sum(end.unsolved.values())),
            "unsolved_code": " ".join(f"{k}:{n}" for k, n in sorted(end.unsolved.items())),
            **self._interpolation(),
        }

    def _interpolation(self) -> dict[str, float | str]:
        """How many loads were interpolated, and errors met where poses were solved all the same."""
        kept = [one.between.record for one in self.staged.all if one.between is not None]
        if not kept:
            return {"interpolated_loads": 0.0}
        met = [error for record in kept for error in record.errors]
        errors = np.array(met or [np.nan])
        return {
            "interpolated_loads": float(sum(record.answered for record in kept)),
            "interpolation_checks": float(len(met)),
            "interpolation_error_median": float(np.median(errors)),
            "interpolation_error_worst": float(errors.max()),
            "interpolated_magnetisation_error_worst": self._magnetisation_error,
        }


def judged(end: End, audit: Audit, settings: MotionSettings) -> Ending:
    """Return the ending, or that the run is not to be trusted, and why.

    A run that was interrupted, or whose speeds are no numbers, has said so already.
    """
    ending, unsolved = end.ending, sum(end.unsolved.values())
    if ending.reason in (EndReason.INTERRUPTED, EndReason.NOT_FINITE):
        return ending
    if audit.deepest_overlap > settings.overlap:
        return ended(EndReason.OVERLAP, audit.deepest_overlap)
    if not audit.unaccounted_fraction <= settings.unaccounted:
        return ended(EndReason.UNACCOUNTED, audit.unaccounted_fraction)
    if unsolved:
        return ended(EndReason.UNSOLVED, unsolved)
    return ending


def _flat(magnetisation: tuple[Array, ...] | None) -> Array | None:
    """All cells' magnetisation of all soft parts (m,), None where it is not known."""
    if magnetisation is None:
        return None
    return np.concatenate([np.empty(0), *(m.ravel() for m in magnetisation)])


def middles(numbers: Sequence[int]) -> list[int]:
    """Return the middle one of each stretch of consecutive `numbers`, which rise."""
    stretches = np.split(np.array(numbers), np.flatnonzero(np.diff(numbers) > 1) + 1)
    return [int(stretch[len(stretch) // 2]) for stretch in stretches]
