"""Everything in which a real machine and a real tape are rough: level, contact, dropouts, azimuth, speed."""
