"""Tests of the officer's board."""
