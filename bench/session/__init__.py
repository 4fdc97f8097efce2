"""Sessions: the record of what was measured, kept crash-proof, and the report made of it."""
