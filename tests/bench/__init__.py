"""Benchmarks: they report, they never fail on a time."""
