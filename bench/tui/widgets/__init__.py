"""The parts of screens; each draws lines from plain values and can be tested without an app."""
