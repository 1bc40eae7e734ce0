"""Sweeps and ranking over many runs."""
