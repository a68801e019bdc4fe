"""Hypothesis without a deadline: a loaded machine is not a wrong estimate."""

from hypothesis import settings

settings.register_profile("estimates", deadline=None)
settings.load_profile("estimates")
