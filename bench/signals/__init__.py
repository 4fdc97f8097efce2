"""Signals that are sent to a machine: tones, tone sequences, and the start mark that locates a recording."""
