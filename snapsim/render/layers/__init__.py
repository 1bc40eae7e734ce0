"""Layers that can be switched on and off: one contract, one short file each."""
