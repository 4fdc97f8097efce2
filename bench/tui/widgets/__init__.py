"""What screens are made of; each draws lines from plain values and can be tested without an app."""
