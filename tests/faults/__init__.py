"""The fault harness: whole rehearsals driven while something breaks."""
