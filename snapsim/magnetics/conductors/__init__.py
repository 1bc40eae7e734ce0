"""Currents in conducting bodies: a network of cells, its inductances, its modes of relaxation."""
