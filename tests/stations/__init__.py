"""Tests of several headsets at one incident."""
