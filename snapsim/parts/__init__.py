"""Shapes, materials, bodies and states: data, with no magnetics and no motion in it."""
