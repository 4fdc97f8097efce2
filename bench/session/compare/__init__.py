"""Sessions beside each other: two of them, one machine over the years, several machines."""
