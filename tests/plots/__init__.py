"""The plots: what stands in them, the same each time."""
