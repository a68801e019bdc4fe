"""Tests of the archive, on SQLite and on a PostgreSQL that they start."""
