"""Runs and scenes as files that other tools read: tables, moving scenes, surfaces."""
