"""For every test: the same random examples in every run, so that a red test is red for all."""

from hypothesis import settings

settings.register_profile("same", derandomize=True, deadline=None)
settings.load_profile("same")
