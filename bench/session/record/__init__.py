"""A session on disk: its schema, crash-proof writing, and reading back."""
