"""Tables that a shop imports."""
