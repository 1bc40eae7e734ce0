"""A run's frames as columns of one table: what data frames, CSV and Parquet have."""

from __future__ import annotations

from collections.abc import Iterable

from snapsim.arrays import Array
from snapsim.simulation.body_motion import BodyMotion

_AXES = ("x", "y", "z")
_QUANTITIES = (
    ("position", "", "m"),
    ("velocity", "v", "m_s"),
    ("spin", "spin_", "rad_s"),
    ("force", "force_", "N"),
    ("torque", "torque_", "N_m"),
)


def frame_columns(
    time: Array, motions: Iterable[BodyMotion], energy: dict[str, Array]
) -> dict[str, Array]:
    """Return columns (k,) by name, units in the names: "time_s", "blank.x_m", "blank.vx_m_s",
    "blank.qw", "energy_kinetic_J", ...; fixed bodies are left out by the caller."""
    found = {"time_s": time}
    for motion in motions:
        for name, sign, unit in _QUANTITIES:
            values = getattr(motion, name)
            for k, axis in enumerate(_AXES):
                found[f"{motion.name}.{sign}{axis}_{unit}"] = values[:, k]
        for k, axis in enumerate(("w", *_AXES)):
            found[f"{motion.name}.q{axis}"] = motion.quaternion[:, k]
        found[f"{motion.name}.kinetic_energy_J"] = motion.kinetic_energy
    return found | {f"energy_{name}_J": values for name, values in energy.items()}
