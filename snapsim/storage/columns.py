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
    "closing_speed": (
        "m/s",
        "normal speed of approach at the contact point; what would compress it as much if jammed",
    ),
    "kinetic_energy": ("J", "kinetic energy of `body` just before, world frame"),
    "effective_mass": ("kg", "1/(n W n) at the contact point"),
    "effective_energy": (
        "J",
        "half effective mass times closing speed squared; the contact's work if struck_through",
    ),
    "impulse": ("N s", "normal impulse"),
    "peak_force": (
        "N",
        "band of the peak force, elastic-plastic; of older files: yielding to elastic",
    ),
    "area": ("m^2", "what a face landing on a face touches at once; 0 for edges and points"),
    "edge_stress": ("Pa", "band of tensile stress at the contact's rim in a magnet; nan without"),
    "magnet_strength": ("Pa", "tensile strength of that magnet"),
    "chipping": ("1", "chance that the blow chips it: least, typical, largest; nan without"),
    "fastest": ("m/s", "closing speed of the fastest point of the faces that met; nan if unknown"),
    "struck_through": ("1", "1 where the two touched and others' blow went through them"),
    "jammed": (
        "1",
        "1 where a slide jammed and friction compressed the contact: see closing_speed",
    ),
}
"""Per blow; the names are those of `Impact`."""

LOAD = {
    "peak_force": ("N", "largest force met"),
    "peak_time": ("s", "when it was met"),
    "peak_torque": ("N m", "largest torque about a joint's point or a body's centre of mass"),
    "torque_time": ("s", "when it was met"),
    "last_force": ("N", "force at the end"),
    "last_torque": ("N m", "torque at the end"),
    "parted": ("s", "when a joint parted; nan where it lasted"),
}
"""Per joint or fixed body; the names are those of `Load`."""

ENERGY = {
    "kinetic": "kinetic energy of all free bodies",
    "gravity": "potential energy of weight, relative to the start",
    "magnetic": "magnetic energy of the scene",
    "dissipated": "energy taken by blows, friction and eddy currents since the start",
}
"""Energies [J] at each stored frame."""

CURRENTS = {
    "joule_heat": "what eddy currents have turned into heat since the start, part of dissipated",
    "currents": "energy stored in eddy currents",
}
"""The same of runs in which conductors brake."""

WORK = {
    "field": "work done by the magnetic forces and torques since the start",
    "hold": "work done by hands that carry a part since the start",
    "supply": "what changes of coils' currents did to the magnetic energy since the start",
}
"""Works [J] at each stored frame."""

BANDS = {"point": 3, "normal": 3, "peak_force": 2, "edge_stress": 2, "chipping": 3}
"""How many numbers a blow has of each quantity that is not one number."""

AUDIT = {
    "magnetic_released": ("J", "magnetic energy given up over the run"),
    "gravity_released": ("J", "potential energy of weight given up over the run"),
    "kinetic_change": ("J", "gain of kinetic energy over the run"),
    "impact_loss": ("J", "energy taken by blows"),
    "friction_loss": ("J", "energy taken by friction"),
    "joule_heat": ("J", "energy that eddy currents turned into heat"),
    "current_energy": ("J", "energy stored in eddy currents at the end"),
    "unaccounted": ("J", "the most that the balance of energies leaves over at any frame"),
    "unaccounted_fraction": ("1", "the same as a share of the released energy"),
    "field_error": ("J", "work of the magnetic force against magnetic energy lost, largest"),
    "integrator_error": ("J", "change of kinetic energy against all work done, largest"),
    "event_gain": ("J", "energy gained in events; 0 when all is well"),
    "hold_work": ("J", "work done by hands that carry a part"),
    "supply_work": ("J", "what changes of coils' currents did to the magnetic energy"),
    "field_work": ("J", "work of the magnetic forces over the run"),
    "all_work": ("J", "work of field, weight, hands and contacts less what was booked as lost"),
    "correction_taken": ("J", "taken from the motion where positions were corrected"),
    "correction_given": ("J", "given to the motion where positions were corrected"),
    "deepest_overlap": ("m", "deepest overlap of two bodies at a frame after the first"),
}
"""The energy audit; the names are those of `Audit`."""

BEARING = {
    "force": ("N", "borne at the frames; blows and a body's own weight are not counted"),
    "torque": ("N m", "borne at the frames; about a joint's point, a body's centre of mass"),
}
