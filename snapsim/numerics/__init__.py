"""Numerical methods with no physics in them."""
