"""Cameras: what a shot is, and a view for every clip time."""
