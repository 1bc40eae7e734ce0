"""The snapsim commands: they only wire the parts together."""

from snapsim.cli.entry import main

__all__ = ["main"]
