"""Tests over HTTP on a database of their own."""
