"""Tests of the signals."""
