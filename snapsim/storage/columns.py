"""What a run file holds, name by name: units and meaning of each number."""

from __future__ import annotations

MOTION = {
    "position": ("m", "centre of mass, world axes"),
    "quaternion": ("1", "unit quaternion, scalar first, body to world"),
    "velocity": ("m/s", "velocity of the centre of mass, world axes"),
    "spin": ("rad/s", "angular velocity, world axes"),
    "force": ("N", "magnetic force, world axes"),
    "torque": ("N m", "magnetic torque about the centre of mass, world axes"),
}
"""Per body at each stored frame; the names are those of `Trajectory`."""

IMPACT = {
    "time": ("s", "moment of the blow"),
    "point": ("m", "contact point, world axes"),
    "normal": ("1", "unit normal from `against` into `body`, world axes"),
    "closing_speed": ("m/s", "normal speed of approach at the contact point"),
    "kinetic_energy": ("J", "kinetic energy of `body` just before, world frame"),
    "effective_mass": ("kg", "1/(n W n) at the contact point"),
    "effective_energy": ("J", "half the effective mass times the closing speed squared"),
    "impulse": ("N s", "normal impulse"),
    "peak_force": ("N", "band of the peak force: limited by yielding, and elastic"),
}
"""Per blow; the names are those of `Impact`."""

LOAD = {
    "peak_force": ("N", "largest force met"),
    "peak_time": ("s", "when it was met"),
    "peak_torque": ("N m", "largest torque about a joint's point; nan for a body"),
    "last_force": ("N", "force on a joint at the end; nan for a body"),
    "last_torque": ("N m", "torque about a joint's point at the end; nan for a body"),
    "parted": ("s", "when a joint parted; nan where it lasted"),
}
"""Per joint or fixed body; the names are those of `Load`."""

ENERGY = {
    "kinetic": "kinetic energy of all free bodies",
    "gravity": "potential energy of weight, relative to the start",
    "magnetic": "magnetic energy of the scene",
    "dissipated": "energy taken by blows and friction since the start",
}
"""Energies [J] at each stored frame."""

AUDIT = {
    "magnetic_released": ("J", "magnetic energy given up over the run"),
    "gravity_released": ("J", "potential energy of weight given up over the run"),
    "kinetic_change": ("J", "gain of kinetic energy over the run"),
    "impact_loss": ("J", "energy taken by blows"),
    "friction_loss": ("J", "energy taken by friction"),
    "unaccounted": ("J", "what the balance of energies leaves over"),
    "unaccounted_fraction": ("1", "the same as a share of the released energy"),
    "field_error": ("J", "work of the magnetic force against magnetic energy lost"),
    "integrator_error": ("J", "change of kinetic energy against all work done"),
    "event_gain": ("J", "energy gained in events; 0 when all is well"),
    "hold_work": ("J", "work done by hands that carry a part"),
}
"""The energy audit; the names are those of `Audit`."""
