"""Tests and benchmarks."""
