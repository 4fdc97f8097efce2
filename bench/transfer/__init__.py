"""Decoding of a transfer that was made without noise reduction, after its errors have been corrected."""
