"""Corrections of raw readings: for the interface, the reference tape and the certificate of a tape."""
