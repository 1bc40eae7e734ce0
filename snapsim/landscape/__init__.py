"""The energy of one body as a function of its pose: rests, stability, margins, paths."""
