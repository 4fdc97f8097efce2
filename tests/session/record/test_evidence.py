"""The kept sound behind readings: measuring it again gives the same readings."""

from __future__ import annotations

import hashlib
import json
import os
from pathlib import Path

import numpy as np
import pytest
import soundfile

from bench.audio import flac
from bench.cli import main
from bench.clock import RehearsalClock
from bench.measure.method import Method
from bench.measure.reading import Reading
from bench.open_run import open_run
from bench.problem import Problem
from bench.procedure.kinds.bench import TURNED_S
from bench.procedure.kinds.recent_sound import PIECE_S
from bench.procedure.state.journal import ReadingRecord, Sound
from bench.run_request import RunRequest
from bench.session.record.reader import read_session
from bench.session.record.record import SessionRecord
from bench.session.record.store import SessionStore
from bench.training.hands import UnattendedHands
from bench.training.rehearse import rehearse
from bench.workspace import Workspace
from tests.results import a_reading
from tests.session.made_up import JOB, START
from tests.smooth import smooth_procedures
from tests.training.test_resume import SHORT


@pytest.fixture(name="kept", scope="module")
def _kept(tmp_path_factory: pytest.TempPathFactory) -> SessionRecord:
    """A short line-up on the practice machine, with evidence."""
    root = tmp_path_factory.mktemp("bench")
    smooth_procedures(root / "procedures")
    (root / "procedures" / "short.toml").write_text(SHORT)
    clock = RehearsalClock(START)
    opened = open_run(Workspace(root), RunRequest("short", evidence=True), clock, real_time=False)
    rehearse(opened.runner, opened.port, clock, UnattendedHands())
    assert opened.end() == ""
    return read_session(opened.store.folder)


def measured(folder: Path, path: str, capsys: pytest.CaptureFixture[str]) -> dict[str, float]:
    assert main(["measure", "level", str(folder / path), "--frequency", "400", "--json"]) == 0
    found = json.loads(capsys.readouterr().out)["readings"]
    return {r["channel"]: r["value"] for r in found if r["quantity"] == "level"}


def test_measured_again_it_gives_the_same_reading(kept: SessionRecord, capsys: pytest.CaptureFixture[str]) -> None:
    sound = next(s for s in kept.evidence if any(kept_by(kept, i).step == "level-again" for i in s.readings))
    again = measured(kept.folder, sound.path, capsys)
    for id_ in sound.readings:
        reading = kept_by(kept, id_).reading
        # 24 bits round by 1e-7 of full scale: 0.00001 dB of a tone at −12 dBFS.
        assert again[reading.channel] == pytest.approx(a_reading(reading).value, abs=2e-5)


def test_what_a_trimmer_was_set_by_is_its_last_seconds(kept: SessionRecord, capsys: pytest.CaptureFixture[str]) -> None:
    sound = next(s for s in kept.evidence if any(kept_by(kept, i).step == "replay-level" for i in s.readings))
    info = soundfile.info(kept.folder / sound.path)
    assert info.subtype == "PCM_24"
    assert 5.0 < info.duration <= TURNED_S + PIECE_S + 0.1
    again = measured(kept.folder, sound.path, capsys)
    for id_ in sound.readings:
        reading = kept_by(kept, id_).reading
        assert again[reading.channel] == pytest.approx(a_reading(reading).value, abs=0.2)


def test_every_reading_that_was_heard_has_its_sound(kept: SessionRecord) -> None:
    named = [i for s in kept.evidence for i in s.readings]
    assert sorted(named) == [r.id for r in kept.readings]
    for sound in kept.evidence:
        assert hashlib.sha256((kept.folder / sound.path).read_bytes()).hexdigest() == sound.sha256


def kept_by(session: SessionRecord, id_: str) -> ReadingRecord:
    return next(r for r in session.readings if r.id == id_)


def test_what_an_interface_gave_comes_back_bit_by_bit(tmp_path: Path) -> None:
    rng = np.random.default_rng(5)
    given = rng.integers(-(2**23), 2**23, size=(5000, 2)).astype(np.float64) / 2**23
    file = tmp_path / "a.flac"
    pieces = [flac.encoded(part, 48000) for part in np.split(given.astype(np.float32), [1700, 1701])]
    file.write_bytes(flac.joined(pieces, 48000, 2))
    back, rate = soundfile.read(file)
    assert rate == 48000
    np.testing.assert_array_equal(back, given)


def a_record(n: int) -> tuple[ReadingRecord]:
    value = Reading("level", "left", -12.0, 0.1, frequency_hz=315.0, method=Method("steady tone"))
    return (ReadingRecord(f"r{n:04d}", "step", "left", True, "reference tape", value, None, START),)


def test_without_being_asked_nothing_is_kept(tmp_path: Path) -> None:
    store = SessionStore.create(tmp_path / "sessions", JOB, [], RehearsalClock(START))
    assert not store.wants_sound
    store.keep_sound(Sound(flac.encoded(np.zeros((100, 2)), 48000), ("r0001",)))
    assert not (store.folder / "evidence").exists()
    store.close()


@pytest.mark.skipif(os.name == "nt", reason="folders are not files there either")
def test_evidence_that_cannot_be_written_is_held_and_written_later(tmp_path: Path) -> None:
    store = SessionStore.create(tmp_path / "sessions", JOB, [], RehearsalClock(START), evidence=True)
    store.keep(a_record(1))
    (store.folder / "evidence").write_text("in the way")
    with pytest.raises(Problem, match="not saved yet"):
        store.keep_sound(Sound(flac.encoded(np.zeros((100, 2)), 48000), ("r0001",)))
    assert len(read_session(store.folder).readings) == 1
    assert read_session(store.folder).evidence == ()
    (store.folder / "evidence").unlink()
    assert store.save_again()
    assert read_session(store.folder).evidence[0].path == "evidence/r0001.flac"
    assert (store.folder / "evidence" / "r0001.flac").stat().st_size > 0
    store.close()
    again = SessionStore.reopen(store.folder)
    assert again.wants_sound
    again.close()
