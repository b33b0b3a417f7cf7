"""Tests of reports as files."""
