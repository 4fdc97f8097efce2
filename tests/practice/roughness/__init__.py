"""Roughness of the practice machine: level, contact, dropouts, weave and speed against what a grade says."""
