"""Documents of the record: one description in blocks, drawn as HTML or as PDF/A. Values to bytes; no clock, no database."""
