"""The scanning client: a bench with a scanner, an outbox that survives anything, and the same rule as the service."""
