"""Tests of the demo fleet."""
