"""Unattended hands: a procedure run hands-off on the practice machine."""
