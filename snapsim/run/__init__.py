"""One motion from start to end: a release, its log, its error bars, and what became of a part."""
