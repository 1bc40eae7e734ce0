"""Materials: the record and the built-in table."""

from snapsim.parts.materials.record import MagnetisationCurve, Material
from snapsim.parts.materials.table import MATERIALS

__all__ = ["MATERIALS", "MagnetisationCurve", "Material"]
