"""Who may sign what, and what a signature holds: pure rules, which the database holds to as well."""
