"""What a trajectory means: summaries and tables of results."""
