"""What wears retainers faster than it should, and whether the data show it at all. Arrays in, values out."""
