"""Materials: the record and the built-in table."""

from snapsim.parts.materials.record import MagnetisationCurve, Material

__all__ = ["MagnetisationCurve", "Material"]
