"""Tests of labels."""
