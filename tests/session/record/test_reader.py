"""Reading sessions: damage is reported in one sentence, and a later schema is read-only."""

from __future__ import annotations

import random
import re
import shutil
from contextlib import suppress
from pathlib import Path

import pytest

from bench.problem import Problem
from bench.session.record.reader import read_session
from bench.session.record.store import SessionStore
from bench.session.report.csv_table import csv_text
from bench.session.report.plain_text import report_text
from tests.session.made_up import whole
from tests.session.record.test_migrate import FROZEN


@pytest.fixture(name="text", scope="module")
def _text(tmp_path_factory: pytest.TempPathFactory) -> str:
    folder = whole(tmp_path_factory.mktemp("session"))
    return (folder / "session.toml").read_text(encoding="utf-8")


def written(tmp_path: Path, text: str | bytes) -> Path:
    data = text.encode() if isinstance(text, str) else text
    (tmp_path / "session.toml").write_bytes(data)
    return tmp_path


UNREADABLE = [
    ("schema = 3", "", "schema is missing or no version number"),
    ("schema = 3", 'schema = "1"', "schema is missing or no version number"),
    ("schema = 3", "schema = true", "schema is missing or no version number"),
    ("schema = 3", "schema = 3\nschema = 3", "Cannot overwrite a value"),
]


@pytest.mark.parametrize(("right", "wrong", "said"), UNREADABLE)
def test_what_does_not_say_its_version_is_not_guessed_at(
    tmp_path: Path, text: str, right: str, wrong: str, said: str
) -> None:
    assert right in text
    folder = written(tmp_path, text.replace(right, wrong, 1))
    with pytest.raises(Problem) as raised:
        read_session(folder)
    sentence = raised.value.sentence
    assert said in sentence
    assert sentence.startswith(f"{folder / 'session.toml'}: damaged: ")
    assert "\n" not in sentence


MISTAKES = [
    ('program = "', 'programme = "', "program is missing", 0),
    ("heads = 2", 'heads = "two"', "job: heads", 0),
    ("[job]", "[jobs]", "[job] is missing", 0),
    ("[port]", "[ports]", "[port] is missing", 0),
    ("quantity = ", "quality = ", "number 1: None is no quantity", 1),
    ('unit = "dB"', 'unit = "m"', "the unit of record_replay_level is dB, not 'm'", 1),
    (
        'stage = "found-dirty"\njudged',
        'stage = "dirty"\njudged',
        "number 1: stage 'dirty' is not what belongs there",
        1,
    ),
    ("value = -1.6", 'value = "low"', "number 1: value 'low' is not what belongs there", 1),
    ("value = -1.6", "value = -1.6.1", "", 1),
    ("uncertainty = 0.09", "uncertainty = -inf", "number 1: uncertainty -inf is not a finite number", 1),
    ('id = "r0001"', "", "number 1: id is missing", 1),
    ('id = "r0001"', 'id = "r0001', "", 1),
    ('kind = "start"', 'kind = "begin"', "[[events]] number 1: 'begin' is no kind of event", 0),
    ("degrees = [12.0, 25.0, -3.0]", 'degrees = "12"', "number 4: degrees '12' is not what belongs there", 0),
    ("degrees = [12.0, 25.0, -3.0]", "degrees = [12.0, nan]", "number 4: degrees nan is not a finite number", 0),
    ('title = "Sign off"', "", "[[steps]] number 8: title is missing", 0),
    ("[[events]]", "[events]", "", 0),
]


@pytest.mark.parametrize("mistake", MISTAKES, ids=[f"{m[0][:20]} {m[1][:20]}" for m in MISTAKES])
def test_damage_is_said_with_its_place_and_the_rest_is_read(
    tmp_path: Path, text: str, mistake: tuple[str, str, str, int]
) -> None:
    right, wrong, said, lost = mistake
    assert right in text
    sound = read_session(written(tmp_path, text))
    folder = written(tmp_path, text.replace(right, wrong, 1))
    session = read_session(folder)
    assert session.read_only.startswith(f"{folder / 'session.toml'}: damaged: ")
    assert said in session.read_only
    assert "; restore it from a copy" in session.read_only
    assert "\n" not in session.read_only
    assert session.readings == sound.readings[lost:]
    assert session.begun == sound.begun


def test_a_file_cut_off_gives_all_that_stands_before_the_cut(tmp_path: Path, text: str) -> None:
    sound = read_session(written(tmp_path, text))
    at = text.index("[[readings]]", len(text) // 2) + 40
    session = read_session(written(tmp_path, text[:at]))
    count = text[:at].count("[[readings]]") - 1
    assert count > 20
    assert session.readings == sound.readings[:count]
    assert "1 of its entries lost" in session.read_only


def test_a_damaged_session_is_never_written(tmp_path: Path, text: str) -> None:
    broken = text.replace("done = true", "done = false", 1).replace('kind = "done"', 'kind = "end"', 1)
    folder = written(tmp_path, broken)
    with pytest.raises(Problem, match="damaged"):
        SessionStore.reopen(folder)
    assert (folder / "session.toml").read_text() == broken
    assert not (folder / ".lock").exists()


def test_what_is_no_session_is_said(tmp_path: Path) -> None:
    with pytest.raises(Problem, match="there is no session here"):
        read_session(tmp_path)
    with pytest.raises(Problem, match="there is no session here"):
        read_session(tmp_path / "gone")
    (tmp_path / "file").write_text("")
    with pytest.raises(Problem, match="this is a file"):
        read_session(tmp_path / "file")
    (tmp_path / "session.toml").mkdir()
    with pytest.raises(Problem, match="cannot be read"):
        read_session(tmp_path)
    (tmp_path / "session.toml").rmdir()
    with pytest.raises(Problem, match="not text"):
        read_session(written(tmp_path, b"schema = 1\n\xff"))
    with pytest.raises(Problem, match="damaged"):
        read_session(written(tmp_path, "x = " + "[" * 5000))


def test_a_later_version_is_read_only(tmp_path: Path, text: str) -> None:
    later = text.replace("schema = 3", "schema = 4", 1).replace("done = true", "done = false", 1)
    later = re.sub(r'\[\[events\]\]\nkind = "done".*', "", later, flags=re.DOTALL)
    later += '\n[[events]]\nkind = "poem"\ntime = 2026-05-03 10:12:00+00:00\n'
    later = later.replace('quantity = "azimuth_delay"', 'quantity = "azimuth_shine"', 1)
    folder = written(tmp_path, later)
    session = read_session(folder)
    assert "written by a later version" in session.read_only
    assert "2 of its entries are not understood" in session.read_only
    assert len(session.readings) > 50
    before = (folder / "session.toml").read_bytes()
    with pytest.raises(Problem, match="written by a later version"):
        SessionStore.reopen(folder)
    assert (folder / "session.toml").read_bytes() == before


def mutated(data: bytes, rng: random.Random) -> bytes:
    """The file with one kind of damage, applied a few times."""
    kind = rng.randrange(5)
    for _ in range(rng.randint(1, 4)):
        at = rng.randrange(len(data))
        lines = data.split(b"\n")
        n = rng.randrange(len(lines))
        if kind == 0:
            data = data[:at] + bytes([rng.randrange(256)]) + data[at + 1 :]
        elif kind == 1:
            data = data[:at] or b"\n"
        elif kind == 2:
            data = b"\n".join(lines[:n] + lines[n + 1 :])
        elif kind == 3:
            other = rng.randrange(len(lines))
            lines[n], lines[other] = lines[other], lines[n]
            data = b"\n".join(lines)
        else:
            value = rng.choice([b"0", b"-1e400", b"nan", b'"x"', b"[]", b"{}", b"true", b"1979-05-27", b"9" * 30])
            key = lines[n].split(b"=")[0]
            lines[n] = key + b"= " + value
            data = b"\n".join(lines)
    return data


def many_mutations(folder: Path, text: str, count: int) -> None:
    rng = random.Random(7)
    said: list[str] = []
    unreadable = 0
    for _ in range(count):
        damaged = mutated(text.encode(), rng)
        try:
            session = read_session(written(folder, damaged))
            said.append(session.read_only)
            report_text(session)
            csv_text(session)
        except Problem as problem:
            said.append(problem.sentence)
            unreadable += 1
        assert (folder / "session.toml").read_bytes() == damaged
    said = [s for s in said if s]
    assert len(said) > count / 2
    assert unreadable < count / 3
    assert all("\n" not in s and len(s) < 400 for s in said)


def test_damaged_files_give_a_sentence_never_a_traceback(tmp_path: Path, text: str) -> None:
    short = text[: text.index("[[readings]]", 5000)]
    many_mutations(tmp_path, short, 60)


@pytest.mark.parametrize("schema", [1, 2])
def test_damaged_files_of_earlier_schemas_likewise(tmp_path: Path, schema: int) -> None:
    shutil.copytree(FROZEN / f"schema-{schema}", tmp_path, dirs_exist_ok=True)
    text = (tmp_path / "session.toml").read_text(encoding="utf-8")
    rng = random.Random(3)
    for _ in range(200):
        with suppress(Problem):
            csv_text(read_session(written(tmp_path, mutated(text.encode(), rng))))


@pytest.mark.long
def test_many_damaged_files(tmp_path: Path, text: str) -> None:
    many_mutations(tmp_path, text, 1000)
