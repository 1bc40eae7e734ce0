"""Numbers with their unit, for those who ask: everything else here is SI floats."""

from __future__ import annotations

from typing import Any

from snapsim.arrays import ArrayLike


def quantity(values: ArrayLike, unit: str) -> Any:
    """Return `values` in `unit` ("N") as a quantity of pint's application registry."""
    import pint

    registry = pint.get_application_registry()  # type: ignore[no-untyped-call]
    return registry.Quantity(values, unit)
