"""Procedures: their file format, and the runner that steps a person through them."""
