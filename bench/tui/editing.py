"""Editing procedures and sheets: finding the file, the editor, copying, checking."""

from __future__ import annotations

import os
import re
import shlex
import subprocess
import unicodedata
from pathlib import Path
from typing import TYPE_CHECKING

from bench.problem import Problem
from bench.tui.choices import EXERCISE_FILE
from bench.workspace import Workspace

if TYPE_CHECKING:
    from bench.procedure.load.file_problems import Finding
    from bench.procedure.load.reader import SheetKind

OWN = "own"
"""Suffix of the name of a copy."""

LARGEST = 1_000_000
"""Largest file for the built-in editor, bytes."""

_TITLE = re.compile(r'^((?:title|name)\s*=\s*")((?:[^"\\\n]|\\.)*)(")', re.MULTILINE)
_TURNS = {*range(0x202A, 0x202F), *range(0x2066, 0x206A)}
"""Characters that change the direction of the text after them."""


def file_behind(workspace: Workspace, row: str, key: str) -> Path:
    """The file behind an option of the chooser.

    Raises:
        Problem: this line has no file.
    """
    from bench.procedure.load.library import Library

    library = Library(workspace)
    if row == "procedure":
        return library.procedure_path(key)
    kinds: dict[str, SheetKind] = {"machine": "machine", "tape": "tape", "reference-tape": "reference-tape"}
    if row == "port" and key.startswith(EXERCISE_FILE):
        return library.sheet_path(key.removeprefix(EXERCISE_FILE), "exercise")
    if row in kinds:
        return library.sheet_path(key, kinds[row])
    raise Problem("there is no file on this line; go to the procedure, the machine or a tape")


def editor() -> list[str] | None:
    """The person's own editor, as a command; None if neither VISUAL nor EDITOR names one."""
    for name in ("VISUAL", "EDITOR"):
        try:
            command = shlex.split(os.environ.get(name, ""), posix=os.name != "nt")
        except ValueError:
            continue
        if command:
            return command
    return None


def run_editor(command: list[str], path: Path) -> str:
    """Open a file in an editor and wait; what went wrong, or ""."""
    try:
        # The editor's own messages go to the terminal too; otherwise they would land in our log.
        ended = subprocess.run([*command, str(path)], stderr=subprocess.STDOUT, check=False)
    except OSError as error:
        return f"{command[0]}: {error.strerror or error}; set EDITOR to an editor that is there"
    return f"{command[0]} ended with code {ended.returncode}" if ended.returncode else ""


def check_file(path: Path, workspace: Workspace) -> list[Finding]:
    """All problems of a file."""
    from bench.check_files import check_files

    return check_files([path], workspace) if path.exists() else []


def copy_to_own(path: Path) -> Path:
    """Copy a file in the same folder: the same text with its comments, but a new title.

    Raises:
        Problem: it can't be read or written.
    """
    try:
        text = path.read_bytes().decode("utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise Problem(f"{path}: can't be copied ({getattr(error, 'strerror', None) or 'it is no text'})") from None
    number = 1
    while True:
        end = OWN if number == 1 else f"{OWN}-{number}"
        copy = path.with_name(f"{path.stem}-{end}.toml")
        try:
            with copy.open("xb") as out:
                out.write(_retitled(text, end.replace("-", " ")).encode("utf-8"))
        except FileExistsError:
            number += 1
        except OSError as error:
            raise Problem(f"{copy}: can't be written ({error.strerror})") from None
        else:
            return copy


def _retitled(text: str, end: str) -> str:
    """The text with a suffix on its first title or name; unchanged if it has none on one line."""
    return _TITLE.sub(lambda m: f"{m[1]}{m[2]}, {end}{m[3]}", text, count=1)


def read_text(path: Path) -> tuple[str, int]:
    """A file for the built-in editor, and how many characters were replaced because they can control a terminal.

    Raises:
        Problem: it is too large, or not text.
    """
    try:
        raw = path.read_bytes()
        text = raw.decode("utf-8")
    except OSError as error:
        raise Problem(f"{path}: can't be read ({error.strerror})") from None
    except UnicodeDecodeError:
        raise Problem(f"{path}: is no UTF-8 text; open it in an editor of your own (set EDITOR)") from None
    if len(raw) > LARGEST:
        raise Problem(f"{path}: is longer than {LARGEST // 1000} kB; open it in an editor of your own (set EDITOR)")
    tamed = "".join("\N{REPLACEMENT CHARACTER}" if _steers(sign) else sign for sign in text.replace("\r\n", "\n"))
    return tamed, sum(a != b for a, b in zip(tamed, text.replace("\r\n", "\n"), strict=True))


def _steers(sign: str) -> bool:
    return (unicodedata.category(sign) == "Cc" and sign not in "\n\t") or ord(sign) in _TURNS


def write_text(path: Path, text: str) -> None:
    """Save the text, with the line endings that the file has.

    Raises:
        Problem: it can't be written; the file is unchanged.
    """
    from bench.session.record.atomic import save_file

    try:
        windows = path.exists() and b"\r\n" in path.read_bytes()
        save_file(path, (text.replace("\n", "\r\n") if windows else text).encode("utf-8"))
    except OSError as error:
        raise Problem(f"{path}: can't be saved ({error.strerror}); the file is as it was") from None
