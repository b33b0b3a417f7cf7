"""Tests of the rules, without a database."""
