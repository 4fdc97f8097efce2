"""The report: its contents, as a page, as plain text and as a table."""
