"""Damaged and odd files of every kind that is read, drawn by seed: none may hang, burst or crash.

    python -m tests.fuzz --minutes 30

A case is a kind of file and a number; both together give the same bytes each time. Whatever is
read ends in a result, or in one line for a person; within `SECONDS` and `BYTES`; and a file that
carries a hash gives what it gave whole, or is refused.
"""

SECONDS = 10.0
"""Processor time that a case may take."""

BYTES = 2**30
"""Memory that a case may take on top of what the process had before it."""
