"""The evidence of a session for its diagnosis, and the tests that may be suggested."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from pathlib import Path

from bench.audio.live import LivePort
from bench.diagnosis.next_test import NextTest
from bench.procedure.state.events import Acted, Overridden, Turned
from bench.session.compare.diagnosis import PARTS, diagnosis_of, look_question
from bench.session.record.reader import read_session
from tests.procedure.flow_bench import SIGN, Bench

SESSION = Path(__file__).parents[1] / "record" / "frozen" / "schema-3"


def test_the_reference_tape_is_suggested_only_where_it_may_be_played() -> None:
    """An interlock prevents it on a machine that was not cleaned and demagnetised."""
    whole = read_session(SESSION)
    unread = tuple(r for r in whole.readings if r.source != "reference tape")
    others = tuple(e for e in whole.events if not isinstance(e, Acted | Overridden))
    for acts, suggested in ((("clean",), False), (("clean", "demagnetise"), True)):
        done = tuple(Acted(step="clean/step", act=act) for act in acts)
        session = replace(whole, readings=unread, events=(*others, *done))
        test = diagnosis_of(session, lambda t: t.reference_passes > 0)[0].next_test
        assert (test is not None) == suggested


def test_a_look_asks_for_one_cause() -> None:
    test = NextTest("look at the head face: flat, or a groove?", 1.0, (), 0.1, looks_for="worn-replay-gap")
    asked = look_question(test, LivePort())
    assert asked == "Look at the head face: flat, or a groove? Does it show: worn replay gap?"
    assert "lens. Does it show" in look_question(replace(test, step="look with a lens"), LivePort())


def test_what_a_practice_machine_looks_like_is_told_with_it(tmp_path: Path) -> None:
    run = Bench(tmp_path).open(SIGN)
    test = NextTest("look at the head face: flat, or a groove?", 1.0, (), 0.1, looks_for="worn-replay-gap")
    assert "groove? You see: The face of the replay head is flat. Does it show" in look_question(test, run.port)
    for part in PARTS.values():
        assert run.port.look(part)  # type: ignore[attr-defined]  # it is visible


def test_a_reading_that_a_later_turn_superseded_is_no_evidence() -> None:
    whole = read_session(SESSION)
    late = max(r.time for r in whole.readings) + timedelta(minutes=1)
    turned = Turned("replay azimuth", (10.0,), step="again", time=late)
    session = replace(whole, events=(*whole.events, turned))
    superseded = {r.id for r in whole.valid_readings} - {r.id for r in session.valid_readings}
    assert superseded
    without = replace(session, readings=tuple(r for r in session.readings if r.id not in superseded))
    assert diagnosis_of(session)[0] == diagnosis_of(without)[0] != diagnosis_of(whole)[0]
