"""Settings of the tests of this room."""

from hypothesis import settings

# A busy machine is no failure: time is measured in tests/benchmarks only.
settings.register_profile("no deadline", deadline=None)
settings.load_profile("no deadline")
