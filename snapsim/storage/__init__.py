"""Run files: written whole or not at all, read back."""

from snapsim.storage.reading import read_run
from snapsim.storage.whole_file import require_writable, whole_file
from snapsim.storage.writing import write_run

__all__ = ["read_run", "require_writable", "whole_file", "write_run"]
