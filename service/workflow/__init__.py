"""What people do, one function each: one transaction, load, decide, append, answer."""
