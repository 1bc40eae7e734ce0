"""Scene files in: reading, checking, building a system."""
