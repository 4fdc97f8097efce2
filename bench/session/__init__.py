"""Sessions: the crash-proof record of what was measured, and the report made from it."""
