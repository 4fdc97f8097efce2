"""Notes added to a session afterwards."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from bench.clock import Clock
from bench.problem import Problem
from bench.procedure.state.events import Noted
from bench.session.record.store import SessionStore
from bench.words.sentences import inert


def add_notes(folder: Path, texts: Sequence[str], clock: Clock) -> None:
    """Add notes to a session, finished or not. Everything else in it is unchanged.

    Args:
        folder: the session's folder.
        texts: the notes, one per text.
        clock: gives the time of the notes.

    Raises:
        Problem: a note is empty, or the session can't be written: it is damaged, of a later version, or being written
            by another program.
    """
    notes = [inert(text).strip() for text in texts]
    if not all(notes):
        raise Problem("the note is empty; type what is to be noted")
    store = SessionStore.reopen(folder, finished=True)
    try:
        for note in notes:
            store.note(Noted(note, time=clock.wall()))
    finally:
        unsaved = store.close()
    if unsaved:
        raise Problem(unsaved)
