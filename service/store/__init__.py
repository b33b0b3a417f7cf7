"""PostgreSQL: the ledger, its state, and every statement that touches them."""
