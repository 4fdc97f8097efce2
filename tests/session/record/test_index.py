"""The index lists the sessions, and the files always take precedence."""

from __future__ import annotations

import json
import os
import shutil
import time
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import pytest

from bench.session.compare.machines import by_due_date, months_after
from bench.session.record import index
from bench.session.record.exercise_encoding import encode_exercise
from bench.session.record.index import INDEX_NAME, SETTLED_NS, entries, of_machine
from tests.session.record.test_migrate import FROZEN
from tests.session.years import visit


def aged(sessions: Path) -> None:
    """Make all files old: only then is the index relied on."""
    then = time.time_ns() - 10 * SETTLED_NS
    for n, file in enumerate(sorted(sessions.glob("*/session.toml"))):
        os.utime(file, ns=(then + n, then + n))


def heads_read(sessions: Path, monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """The folders whose files were read to make a list."""
    read: list[str] = []
    real = index._head

    def reading(folder: Path) -> index.Row:
        read.append(folder.name)
        return real(folder)

    with monkeypatch.context() as patched:
        patched.setattr(index, "_head", reading)
        entries(sessions)
    return sorted(read)


def test_it_says_what_the_sessions_say(tmp_path: Path) -> None:
    folder = visit(tmp_path, 0, -13.0, -12.0)
    visit(
        tmp_path,
        1,
        -13.0,
        -12.0,
        port_kind="practice",
        seed=7,
        machine="Dörte's deck",
        exercise=encode_exercise({"faults": ["dirty-head"]}),
    )
    practice, plain = entries(tmp_path / "sessions")
    assert (plain.folder, plain.machine, plain.done, plain.exercise) == (
        folder,
        "Lanternhill two-head deck",
        True,
        False,
    )
    assert plain.begun == datetime(2020, 1, 1, 10, tzinfo=UTC)
    assert plain.outcome == "All in. The judged reading at 1 step is in."
    assert plain.reference_plays == 2
    assert (practice.machine, practice.exercise) == ("Dörte's deck, practice machine 7", True)
    assert entries(tmp_path / "nowhere") == []


def test_nothing_is_read_twice_and_what_changed_is_read_again(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    folders = [visit(tmp_path, n, -13.0, -12.0) for n in range(3)]
    sessions = tmp_path / "sessions"
    aged(sessions)
    assert len(heads_read(sessions, monkeypatch)) == 3
    assert heads_read(sessions, monkeypatch) == []
    text = (folders[1] / "session.toml").read_text(encoding="utf-8")
    (folders[1] / "session.toml").write_text(text.replace("in_count = 1\n", "in_count = 2\n"))
    assert heads_read(sessions, monkeypatch) == [folders[1].name]
    # Changed less than two seconds ago, so its time might not reveal the next change.
    assert heads_read(sessions, monkeypatch) == [folders[1].name]
    said = [e.outcome for e in entries(sessions)]
    assert ["All 2 judged readings" in one for one in said] == [False, True, False]
    shutil.rmtree(folders[2])
    assert len(entries(sessions)) == 2
    assert folders[2].name not in json.loads((sessions / INDEX_NAME).read_text())["sessions"]


@pytest.mark.parametrize(
    "content",
    [b"", b"{", b"[]", b"\xff", b'{"version":0,"sessions":{}}', b'{"version":1,"sessions":[]}', b"[" * 100_000],
)
def test_a_spoilt_index_is_made_again(tmp_path: Path, content: bytes) -> None:
    visit(tmp_path, 0, -13.0, -12.0)
    right = entries(tmp_path / "sessions")
    (tmp_path / "sessions" / INDEX_NAME).write_bytes(content)
    assert entries(tmp_path / "sessions") == right


def test_a_row_that_is_none_is_read_again(tmp_path: Path) -> None:
    folder = visit(tmp_path, 0, -13.0, -12.0)
    aged(tmp_path / "sessions")
    right = entries(tmp_path / "sessions")
    table = json.loads((tmp_path / "sessions" / INDEX_NAME).read_text())
    table["sessions"][folder.name][5] = 7
    (tmp_path / "sessions" / INDEX_NAME).write_text(json.dumps(table))
    assert entries(tmp_path / "sessions") == right


@pytest.mark.skipif(os.name == "nt" or os.getuid() == 0, reason="nothing is read-only for root")
def test_a_folder_that_cannot_be_written_is_listed_all_the_same(tmp_path: Path) -> None:
    visit(tmp_path, 0, -13.0, -12.0)
    (tmp_path / "sessions").chmod(0o500)
    assert len(entries(tmp_path / "sessions")) == 1


def test_damaged_and_strange_folders_are_listed_with_their_problem(tmp_path: Path) -> None:
    folder = visit(tmp_path, 0, -13.0, -12.0)
    (folder / "session.toml").write_text("schema = 2\n[job")
    strange = tmp_path / "sessions" / "strange"
    strange.mkdir()
    (strange / "session.toml").mkdir()
    (tmp_path / "sessions" / "empty").mkdir()
    damaged, other = entries(tmp_path / "sessions")
    assert damaged.problem == f"{folder / 'session.toml'}: damaged"
    assert damaged.begun == datetime(2020, 1, 1, 10, 0, tzinfo=UTC)
    assert "cannot be read" in other.problem
    assert of_machine([damaged, other], "") == []
    assert by_due_date([damaged, other]) == []


AGAIN = "To be checked again, because something was adjusted since: record response."
WORST = "response, left, 10 kHz: −2.60 ± 0.11 dB"
OLDER = f"Out. 1 step is out: proof ({WORST}). No reading: proof. {AGAIN}"
"""The steps' titles and what was skipped are not known: no copy of the procedure lies beside it."""
PROOF = "Record-to-replay as left"
TODAY = f"Out. 1 step is out: {PROOF} ({WORST}). No reading: {PROOF}. Skipped: Hum. {AGAIN}"


@pytest.mark.parametrize(
    ("schema", "outcome", "plays", "deck"),
    [
        (1, "All in. The judged reading at 1 step is in.", 2, "two-head deck"),
        (2, OLDER, 1, "three-head cassette deck"),
        (3, TODAY, 1, "three-head cassette deck"),
    ],
)
def test_a_session_of_every_schema_is_listed(tmp_path: Path, schema: int, outcome: str, plays: int, deck: str) -> None:
    folder = tmp_path / "sessions" / "2025-05-03-1012-deck"
    folder.mkdir(parents=True)
    shutil.copy(FROZEN / f"schema-{schema}" / "session.toml", folder)
    (entry,) = entries(tmp_path / "sessions")
    assert (entry.outcome, entry.reference_plays, entry.done) == (outcome, plays, True)
    assert entry.machine == f"Lanternhill {deck}, practice machine 1"


def test_strange_things_in_an_outcome_are_no_reason_to_fail(tmp_path: Path) -> None:
    folder = visit(tmp_path, 0, None, -12.0)
    text = (folder / "session.toml").read_text(encoding="utf-8")
    strange = text.replace("in_count = 1\n", 'in_count = "one"\nout = 3\nnot_measured = [1, "Hum"]\n', 1)
    (folder / "session.toml").write_text(strange, encoding="utf-8")
    assert entries(tmp_path / "sessions")[0].outcome == "Not all in. Not measured: 1; Hum."


def test_a_machine_is_found_by_name_sheet_or_part(tmp_path: Path) -> None:
    visit(tmp_path, 0, None, -12.0, machine="Lanternhill deck")
    visit(tmp_path, 1, None, -12.0, machine="Lanternhill deck, the old one")
    visit(tmp_path, 2, None, -12.0, machine="Reel")
    every = [
        replace(e, machine_id=e.machine.split(",")[0].lower().replace(" ", "-")) for e in entries(tmp_path / "sessions")
    ]
    assert {e.machine for e in of_machine(every, "lanternhill DECK")} == {"Lanternhill deck"}
    assert {e.machine for e in of_machine(every, "old")} == {"Lanternhill deck, the old one"}
    assert {e.machine for e in of_machine(every, "reel")} == {"Reel"}
    assert of_machine(every, "lanternhill-deck") == []  # the sheet of two of them
    assert of_machine(every, "") == []


def test_the_roll_is_in_the_order_in_which_machines_are_due(tmp_path: Path) -> None:
    visit(tmp_path, 2, None, -12.0, machine="late")
    visit(tmp_path, 0, None, -12.0, machine="early")
    visit(tmp_path, 1, None, -12.0, machine="late")
    machines = by_due_date(entries(tmp_path / "sessions"), 6)
    assert [(m.machine, str(m.due), len(m.sessions)) for m in machines] == [
        ("early", "2020-07-01", 1),
        ("late", "2022-07-01", 2),
    ]
    assert machines[1].last.begun.year == 2022


def test_months_after() -> None:
    from datetime import date

    assert months_after(date(2024, 1, 31), 1) == date(2024, 2, 29)
    assert months_after(date(2026, 11, 30), 3) == date(2027, 2, 28)
    assert months_after(date(2026, 5, 3), 12) == date(2027, 5, 3)
    assert months_after(date(9999, 5, 3), 12) == date.max
