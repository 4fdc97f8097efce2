"""Names of the files in a session's folder. Imports nothing."""

from __future__ import annotations

FILE_NAME = "session.toml"
"""The session itself, from which the other files can be made again."""
INPUTS = "inputs"
"""Copies of the procedure and sheets that were used."""
EVIDENCE = "evidence"
"""The sound behind readings, where it was kept."""
