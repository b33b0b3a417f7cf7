"""Work orders and the record of them: what a history amounts to, how far the work has come, what a record states. Pure."""
