"""What another system keeps in step: rows, keys, tables, people who left, and the worked example."""
