"""The report: what it says, as a page, as plain text and as a table."""
