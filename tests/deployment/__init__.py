"""Tests of how it is put on a machine."""
