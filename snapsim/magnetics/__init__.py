"""Magnetic fields, magnetisation, force and torque; knows nothing of motion or contact."""
