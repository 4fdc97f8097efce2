"""Tapes are ranked as their sheets imply, each of them really loaded on the practice machine."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from bench.clock import RehearsalClock
from bench.open_run import OpenRun, open_run, resume_run
from bench.procedure.state.event_kinds import of_kind
from bench.procedure.state.events import LotLoaded
from bench.procedure.state.journal import ReadingRecord
from bench.procedure.state.ranking import CRITERIA, ranking, ranking_lines
from bench.run_request import RunRequest
from bench.session.record.reader import read_session
from bench.session.report.plain_text import report_text
from bench.session.report.report import report_html
from bench.training.hands import UnattendedHands
from bench.training.rehearse import rehearse
from bench.workspace import Workspace, shipped_procedures
from tests.procedure.record_bench import run as run_right
from tests.procedure.state.test_ranking import ranks
from tests.results import a_reading
from tests.smooth import smooth_procedures

SHORT = re.sub(
    r"    \{ hz = (63|1000|4000|6300|8000|12500), db = -20 \},\n",
    "",
    (Path(shipped_procedures()) / "which-tape.toml").read_text(encoding="utf-8"),
)
"""With only two response tones, to save time."""


@pytest.fixture
def workspace(tmp_path: Path) -> Workspace:
    smooth_procedures(tmp_path / "procedures")
    return Workspace(tmp_path)


def test_on_a_deck_that_is_right_the_tapes_differ_by_what_their_sheets_say(tmp_path: Path) -> None:
    """Blank B gives 0.5 dB more and 0.8 dB more treble than blank A, blank C 1 dB less of both."""
    ran = run_right(tmp_path, SHORT, "three-head-cassette")
    records = ran.opened.store.records()

    def mean(lot: str, quantity: str, hz: float) -> float:
        found = [
            a_reading(r.reading).value
            for r in records
            if r.lot == lot and r.reading.quantity == quantity and r.reading.frequency_hz == pytest.approx(hz)
        ]
        return sum(v for v in found if v is not None) / len(found)

    for lot, level, treble in (("blank B", 0.5, 0.8), ("blank C", -1.0, -1.0)):
        assert mean(lot, "record_replay_level", 400.0) - mean("blank A", "record_replay_level", 400.0) == pytest.approx(
            level, abs=0.15
        )
        assert mean(lot, "response", 10000.0) - mean("blank A", "response", 10000.0) == pytest.approx(treble, abs=0.3)
    ranked = ranking(records)
    assert [r.lot for r in ranked] == ["blank A", "blank B", "blank C"]
    assert ranks(ranked, "level") == {"blank A": 1, "blank B": 2, "blank C": 3}
    session = read_session(ran.opened.store.folder)
    html, text = report_html(session), " ".join(report_text(session).split())
    for told in ("The tapes, ranked", ranking_lines(ranked)[0], "blank B is Lanternhill ferric gala"):
        assert told in html
        assert told in text
    assert "by noise reduction, dB: blank A 1st" in text


@pytest.mark.long
def test_other_tapes_another_order(tmp_path: Path) -> None:
    """Three made-up tapes instead: blank A is 2 dB insensitive, blank B as the deck wants it, blank C 1 dB bright."""
    smooth_procedures(tmp_path / "procedures")
    tapes = tmp_path / "procedures" / "sheets" / "tapes"
    usual = (tapes / "ferric-daily.toml").read_text(encoding="utf-8")
    for name in ("ferric-daily", "ferric-gala", "ferric-pocket"):
        (tapes / f"{name}.toml").unlink()
    for name, own in (("one", "sensitivity_db = -2.0"), ("two", "treble_db = 1.0"), ("three-z", "")):
        text = usual.replace("ferric daily", name).replace("[practice]", f"[practice]\n{own}")
        (tapes / f"ferric-{name}.toml").write_text(text, encoding="utf-8")
    ran = run_right(tmp_path, SHORT, "three-head-cassette", tape="ferric-one")
    ranked = ranking(ran.opened.store.records())
    assert [(e.lot, e.tape) for e in of_kind(ran.opened.store.events(), LotLoaded)] == [
        ("blank A", "Lanternhill one"),
        ("blank B", "Lanternhill three-z"),
        ("blank C", "Lanternhill two"),
    ]
    assert [r.lot for r in ranked] == ["blank B", "blank C", "blank A"]
    assert ranking_lines(ranked)[0] == "Blank B fits best, by noise reduction"
    assert ranked[2].figures["level"].off_db == pytest.approx(-2.0, abs=0.4)
    assert ranks(ranked, "level")["blank A"] == 3
    assert ranks(ranked, "treble")["blank B"] == 1


@pytest.mark.long
def test_two_reels_of_one_tape_cannot_be_told_apart(tmp_path: Path) -> None:
    """There are two tapes of type II: the third blank is another reel of the first."""
    ran = run_right(tmp_path, SHORT, "three-head-cassette", tape="chrome-dawn")
    ranked = {r.lot: r for r in ranking(ran.opened.store.records())}
    for by in CRITERIA:
        assert ranked["blank A"].figures[by].rank == ranked["blank C"].figures[by].rank
    assert "measure alike in noise reduction" in ranking_lines(tuple(ranked.values()))[0]


@pytest.mark.long
def test_resumed_the_blank_is_in_that_was_in(workspace: Workspace) -> None:
    def finish(opened: OpenRun) -> list[ReadingRecord]:
        try:
            rehearse(opened.runner, opened.port, opened.clock, UnattendedHands())
        finally:
            opened.store.close()
        return list(read_session(opened.store.folder).readings)

    class BreaksOff(BaseException):
        """As after a power failure."""

    (workspace.procedures / "which-tape.toml").write_text(SHORT, encoding="utf-8")
    wanted = RunRequest("which-tape", "three-head-cassette", "ferric-gala", seed=2)
    whole = finish(open_run(workspace, wanted, RehearsalClock(), real_time=False))
    broken = open_run(workspace, wanted, RehearsalClock(), real_time=False)
    step_done = broken.store.step_done

    def power_goes(step: str) -> None:
        step_done(step)
        if step == "in-b":
            raise BreaksOff

    broken.store.step_done = power_goes  # type: ignore[method-assign]
    with pytest.raises(BreaksOff):
        finish(broken)
    resumed = finish(resume_run(broken.store.folder, RehearsalClock(), real_time=False))
    assert [(r.id, r.lot) for r in resumed] == [(r.id, r.lot) for r in whole]
    for was, now in zip(whole, resumed, strict=True):
        assert a_reading(now.reading).value == pytest.approx(a_reading(was.reading).value, abs=0.1), now.step
