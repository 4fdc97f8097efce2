"""Comparisons of sessions: two sessions, one machine over the years, several machines."""
