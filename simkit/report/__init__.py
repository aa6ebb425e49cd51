"""Report: the result as JSON, tables and pictures."""
