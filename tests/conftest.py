"""How property tests run: the same examples on every machine, however busy; --hypothesis-profile=search looks further."""

from hypothesis import settings

settings.register_profile("repeatable", deadline=None, derandomize=True)
settings.register_profile("search", deadline=None, derandomize=False, max_examples=1_000)
settings.load_profile("repeatable")
