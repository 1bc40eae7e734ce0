"""The snapsim commands: they only wire the parts together."""
