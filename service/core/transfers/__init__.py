"""Connectors that go to another owner: what travels with them, how it is proved, and what stays behind."""
