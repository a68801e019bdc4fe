"""Tests of the debrief, and the records they are made from."""
