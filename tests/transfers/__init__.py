"""Connectors that go to another owner, their log cards and tags."""
