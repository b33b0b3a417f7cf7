"""The page in a real browser, in front of the real programs."""
