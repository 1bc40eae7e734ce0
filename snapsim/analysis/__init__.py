"""What a trajectory means: summaries and tables of results."""

from snapsim.analysis.summary import force_summary, summary

__all__ = ["force_summary", "summary"]
