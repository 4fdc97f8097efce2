"""Steps that measure one quantity once."""
