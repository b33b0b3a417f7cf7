"""Reports as files: rows of the wire contract as CSV, NDJSON, a workbook or paper. Values in, bytes out."""
