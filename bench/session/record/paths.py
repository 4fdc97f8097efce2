"""What lies where in a session's folder. Light: nothing is imported."""

from __future__ import annotations

FILE_NAME = "session.toml"
"""The session itself: the truth."""
INPUTS = "inputs"
"""Copies of the procedure and sheets that it was measured by."""
EVIDENCE = "evidence"
"""Sound behind readings, where it was kept."""
