"""Work orders, the statement that is signed, and the record of closed work."""
