"""Tests that kill things."""
