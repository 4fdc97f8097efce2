"""A session on disk: its schema, how it is kept crash-proof, and how it is read back."""
