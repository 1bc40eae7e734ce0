"""Cells that follow the surface of each shape: one contract, one file each."""
