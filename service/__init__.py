"""The Tinebook service: a ledger of what was done to the contact retainers of circular connectors."""
