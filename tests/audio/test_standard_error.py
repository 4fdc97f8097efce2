"""File descriptor 2 is the screen: output of C code to it is redirected, output of Python is not."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

SCRIPT = """
import os, sys
from pathlib import Path
from bench.audio.standard_error import stderr_silenced, stderr_to_file
with stderr_silenced():
    os.write(2, b"hidden ")
os.write(2, b"1 ")
try:
    with stderr_to_file(Path(sys.argv[1])):
        os.write(2, b"logged")
        sys.stderr.write("2 "); sys.stderr.flush()
        sys.__stderr__.write("µ "); sys.__stderr__.flush()
        with stderr_silenced():
            os.write(2, b"hidden ")
            sys.stderr.write("3 "); sys.stderr.flush()
        raise RuntimeError("out")
except RuntimeError:
    pass
os.write(2, b"4 ")
sys.stderr.write("5")
"""


def test_what_libraries_write_is_kept_off_and_given_back_afterwards(tmp_path: Path) -> None:
    log = tmp_path / "sound.log"
    done = subprocess.run([sys.executable, "-c", SCRIPT, log], capture_output=True, check=True)
    assert done.stderr.decode() == "1 2 µ 3 4 5"
    assert log.read_text() == "logged"
    assert log.stat().st_mode & 0o777 == 0o600


def test_without_a_descriptor_2_nothing_fails(tmp_path: Path) -> None:
    script = "import os; os.close(2)\nfrom bench.audio.standard_error import stderr_silenced"
    script += "\nwith stderr_silenced(): print('went on')"
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, check=True)
    assert done.stdout.decode() == "went on\n"
