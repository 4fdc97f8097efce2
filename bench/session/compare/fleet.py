"""The workshop's whole fleet: the last finished session of each machine."""

from __future__ import annotations

from pathlib import Path

from bench.problem import Problem
from bench.session.compare.machine_errors import MachineErrors, machine_errors
from bench.session.compare.machines import by_due_date
from bench.session.record.index import Entry, entries, of_machine
from bench.session.record.paths import FILE_NAME
from bench.session.record.reader import read_session


def fleet(sessions_folder: Path) -> tuple[list[MachineErrors], list[str]]:
    """Every machine by its last usable session, in order of name, and why the others are left out."""
    found, left_out = [], []
    for machine in sorted(by_due_date(entries(sessions_folder)), key=lambda m: m.machine):
        try:
            found.append(_last(machine.sessions))
        except Problem as problem:
            left_out.append(problem.sentence)
    return found, left_out


def errors_by_name(sessions_folder: Path, named: str) -> MachineErrors:
    """The errors of one machine, found by a session or by name.

    Args:
        sessions_folder: folder of all sessions.
        named: a session's folder, `session.toml` or name; else a machine's name, that of its sheet, or a part of
            either.

    Raises:
        Problem: there is no such session or machine, or too little was measured.
    """
    path = Path(named)
    for folder in (path.parent if path.name == FILE_NAME else path, sessions_folder / named):
        if (folder / FILE_NAME).is_file():
            return machine_errors(read_session(folder))
    sessions = of_machine(entries(sessions_folder), named)
    if not sessions:
        raise Problem(f'"{named}": no session, and no one machine of that name, in {sessions_folder}')
    return _last(sessions)


def _last(sessions: tuple[Entry, ...] | list[Entry]) -> MachineErrors:
    """From the newest finished session with a replay reading. Without one, raises the reason of the newest."""
    why: Problem | None = None
    for entry in sessions:
        if not entry.done:
            continue
        try:
            errors = machine_errors(read_session(entry.folder))
        except Problem as problem:
            why = why or problem
            continue
        if errors.replay:
            return errors
        why = why or Problem(f"{entry.folder}: no reference tape was read in it")
    raise why or Problem(f"{sessions[0].machine}: none of its sessions came to its end")
