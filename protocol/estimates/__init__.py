"""Estimates: pure functions in SI; every number carries a range, a method and a source."""
