"""Settings of all tests."""

from hypothesis import settings

# No deadlines: machines are shared. The same examples every time, so that a red run is red again.
settings.register_profile("snapsim", deadline=None, derandomize=True)
settings.load_profile("snapsim")
