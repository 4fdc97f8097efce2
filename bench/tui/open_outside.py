"""Opens a file in the system's default program."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path


def open_outside(path: Path) -> str:
    """Open a file without waiting for the program; returns a sentence about the result."""
    if not path.exists():
        return f"{path} is not there"
    if sys.platform == "win32":
        os.startfile(path)
        return f"Opened outside: {path}"
    opener = "open" if sys.platform == "darwin" else "xdg-open"
    if shutil.which(opener) is None:
        return f"Nothing here opens files ({opener} is missing). The file is {path}"
    nowhere = subprocess.DEVNULL
    subprocess.Popen([opener, str(path)], stdin=nowhere, stdout=nowhere, stderr=nowhere, start_new_session=True)
    return f"Opened outside: {path}"
