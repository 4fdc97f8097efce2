"""Irregularities of real machines and tapes: level, contact, dropouts, azimuth and speed."""
