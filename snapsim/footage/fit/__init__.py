"""Unknowns of a scene from tracked footage: staged robust fit, intervals, what cannot be told."""
