"""The shipped procedures with machines without roughness, for tests whose readings must show what the program did."""

from __future__ import annotations

import re
import shutil
from pathlib import Path

from bench.workspace import shipped_procedures


def smooth_procedures(to: Path) -> None:
    """Copy the shipped procedures into a new folder, with machines that have no grade."""
    shutil.copytree(shipped_procedures(), to)
    smooth_machines(to / "sheets")


def smooth_machines(sheets: Path) -> None:
    """Remove the grade from every machine in a folder of sheets."""
    for sheet in (sheets / "machines").glob("*.toml"):
        text = sheet.read_text(encoding="utf-8")
        sheet.write_text(re.sub(r'^grade = ".*"$', 'grade = "none"', text, flags=re.MULTILINE), encoding="utf-8")
