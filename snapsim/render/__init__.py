"""Pictures and clips."""
