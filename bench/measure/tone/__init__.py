"""A steady tone: found, followed, and its level, frequency and phase estimated."""
