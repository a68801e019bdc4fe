"""Hostile and broken input: nothing but the program's own coded errors comes out. `--hypothesis-profile=search` looks further."""
