"""Recordings made by this project, their scripts, and the program that renders them."""
