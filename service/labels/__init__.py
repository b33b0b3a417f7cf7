"""Labels: what a symbol holds, whether its print would read back, and its drawing as SVG, PNG or PDF. No store, no file."""
