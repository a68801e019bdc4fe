"""Listening: where sound comes from, what was said in it, and whether to believe it."""
