"""The workspace: the folder of a person's procedures and sessions."""

from __future__ import annotations

import os
import shutil
import tempfile
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from bench.problem import Problem
from bench.renewal import list_copies, renew

_HERE = Path(__file__).resolve().parent
WORKED_SESSIONS = (
    "2025-11-20-1000-lanternhill-three-head-cassette-deck",
    "2026-11-19-1000-lanternhill-three-head-cassette-deck",
)
"""Two sessions of one practice machine, a year apart: examples to look at before the first run."""


@dataclass(frozen=True, slots=True)
class Workspace:
    """A folder that holds `procedures/` and `sessions/`."""

    root: Path

    @property
    def procedures(self) -> Path:
        """The folder of procedure files; sheets are in a folder below it."""
        return self.root / "procedures"

    @property
    def sheets(self) -> Path:
        """The folder of sheets, with a folder for each kind."""
        return self.procedures / "sheets"

    @property
    def sessions(self) -> Path:
        """The folder of sessions, with a folder for each run; created with the first session."""
        return self.root / "sessions"


def find_workspace(folder: str | Path | None = None) -> Workspace:
    """Find the workspace: the named folder, else the current folder, else the person's data folder.

    The current folder is used only if it has `procedures/`. The data folder, and a named folder that is empty, receive
    a copy of the shipped procedures, which is brought up to date where nobody has changed it. The data folder also
    receives the worked sessions.

    Raises:
        Problem: the named folder is missing, or has other contents and no procedures; or it can't be written.
    """
    found = Workspace(_named(Path(folder)) if folder else _usual())
    with suppress(Problem):  # what was copied before serves without what is shipped
        renew(found.procedures, shipped_procedures())
    return found


def shipped_procedures() -> Path:
    """The procedures that came with the program: in the wheel, or next to the package in a source folder.

    Raises:
        Problem: neither exists.
    """
    for folder in (_HERE / "shipped" / "procedures", _HERE.parent / "procedures"):
        if folder.is_dir():
            return folder
    raise Problem("the procedures that ship with tapebench are missing; install it again")


def shipped_sessions() -> list[Path]:
    """The worked sessions that came with the program, without any that are missing."""
    for folder in (_HERE / "shipped" / "sessions", _HERE.parent / "sessions"):
        if folder.is_dir():
            return [folder / name for name in WORKED_SESSIONS if (folder / name).is_dir()]
    return []


def write_new(folder: Path, stem: str, text: str, *, most: int = 1000) -> Path:
    """Write a file under a free name: `stem.toml`, else `stem-2.toml` and so on. No existing file is ever changed.

    Args:
        folder: the folder, which is created if missing.
        stem: the name without a number and without `.toml`.
        text: content of the file.
        most: maximum number of names to try.

    Raises:
        Problem: it can't be written, or none of the names is free.
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for number in range(1, most):
            path = folder / f"{stem}{'' if number == 1 else f'-{number}'}.toml"
            with suppress(FileExistsError), path.open("x", encoding="utf-8", newline="\n") as out:
                out.write(text)
                return path
    except OSError as error:
        raise Problem(f"{folder}: {stem}.toml can't be written ({error.strerror}); see that files can be") from None
    raise Problem(f"{folder}: too many files called {stem}; rename some, or move them away")


def _usual() -> Path:
    """The current folder if it has procedures, else the person's data folder, filled at the first start."""
    here = Path.cwd()
    if (here / "procedures").is_dir():
        return here
    import platformdirs

    home: Path = platformdirs.user_data_path("tapebench", appauthor=False)
    if not (home / "procedures").is_dir():
        _seed(home, shipped_sessions())
    return home


def _named(root: Path) -> Path:
    if not root.exists():
        raise Problem(f"{root}: no such folder; make it first, and an empty one is filled with the shipped procedures")
    if not root.is_dir():
        raise Problem(f"{root}: a file; --workspace takes the folder that holds procedures/")
    if not (root / "procedures").is_dir():
        if any(root.iterdir()):
            raise Problem(f"{root}: has no procedures/ folder; name one that has, or an empty folder")
        _seed(root)
    return root


def _seed(root: Path, sessions: Sequence[Path] = ()) -> None:
    """Copy the shipped procedures completely or not at all, and never over a copy that another run has just made.

    Sessions are copied first, so that the presence of procedures means that everything is there.
    """
    shipped = shipped_procedures()
    try:
        root.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryDirectory(prefix=".seed-", dir=root) as scratch:
            for session in sessions:
                copied = Path(scratch) / session.name
                shutil.copytree(session, copied)
                (root / "sessions").mkdir(exist_ok=True)
                with suppress(OSError):  # another run has just copied it
                    copied.rename(root / "sessions" / session.name)
            copy = Path(scratch) / "procedures"
            shutil.copytree(shipped, copy)
            list_copies(copy)
            try:
                copy.rename(root / "procedures")
            except OSError:
                if not (root / "procedures").is_dir():
                    raise
    except OSError as error:
        reason = os.strerror(error.errno) if error.errno else str(error)
        raise Problem(f"{root}: the shipped procedures can't be copied there ({reason}); name a --workspace") from error
