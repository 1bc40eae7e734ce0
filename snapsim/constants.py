"""Physical constants, SI.

MU_0 is the CODATA 2018 recommended value (Tiesinga et al., Rev. Mod. Phys. 93, 025010 (2021),
table XXXI; value from memory). STANDARD_GRAVITY is the conventional value of the 3rd CGPM (1901).
"""

from typing import Final

MU_0: Final = 1.25663706212e-6
"""Vacuum magnetic permeability [H/m]."""

STANDARD_GRAVITY: Final = 9.80665
"""Conventional gravitational acceleration [m/s^2]."""
