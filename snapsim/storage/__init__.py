"""Run files: written whole or not at all, read back."""
