"""The shipped procedures with machines of no roughness, for tests in which a reading shows what the program did."""

from __future__ import annotations

import re
import shutil
from pathlib import Path

from bench.workspace import shipped_procedures


def smooth_procedures(to: Path) -> None:
    """Copy the shipped procedures into a folder that is not there yet; their machines have no grade."""
    shutil.copytree(shipped_procedures(), to)
    smooth_machines(to / "sheets")


def smooth_machines(sheets: Path) -> None:
    """Take the grade out of every machine in a folder of sheets."""
    for sheet in (sheets / "machines").glob("*.toml"):
        text = sheet.read_text(encoding="utf-8")
        sheet.write_text(re.sub(r'^grade = ".*"$', 'grade = "none"', text, flags=re.MULTILINE), encoding="utf-8")
