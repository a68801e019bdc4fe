"""Measurements, printed with the machine they were made on; none of them is a test."""
