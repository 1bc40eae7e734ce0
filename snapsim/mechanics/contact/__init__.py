"""Gaps, contact points and normals between the shapes."""
