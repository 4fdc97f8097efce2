"""The conclusion of a session."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from bench.measure.method import Method
from bench.measure.reading import Reading
from bench.measure.verdict import Verdict
from bench.procedure.kinds.bench import JudgedReading, with_polarity
from bench.procedure.state.conclusion import Conclusion
from bench.procedure.state.events import Skipped
from bench.session.record.reader import read_session
from bench.session.record.store import SessionStore
from bench.session.report.owner_summary import owner_summary
from tests.session.made_up import STEPS, Writer, begin, level, record_level, response


def came_out(store: SessionStore) -> Conclusion:
    return read_session(store.folder).conclusion


@pytest.fixture(name="w")
def _w(tmp_path: Path) -> Writer:
    """Two of three judged steps are in, and the third is yet to come."""
    w = begin(tmp_path)
    w.keep("found", "found-clean", "reference tape", [level("left", -20.0)])  # out, but only reported
    w.keep("replay-level", "left", "reference tape", [level("left", -12.0)])
    w.keep("proof-replay", "left", "reference tape", [level("left", -12.0), level("right", -12.0)])
    return w


def test_all_in(w: Writer) -> None:
    w.keep("proof-record", "left", "record-replay", [record_level("left", 0.1)])
    w.finish()
    said = came_out(w.store)
    assert (said.word, said.headline, said.exit_code) == ("in", "All in", 0)
    assert said.sentences == ("All 4 judged readings at 3 steps are in.",)


def test_out_is_named_before_the_rest(w: Writer) -> None:
    w.keep("proof-record", "left", "record-replay", [record_level("left", 3.0), record_level("right", 0.45)])
    w.finish()
    said = came_out(w.store)
    assert (said.word, said.headline) == ("out", "Out")
    assert said.sentences == (
        "1 step is out: Record-to-replay as left (record-to-replay level, left, 500 Hz: 3.00 ± 0.09 dB).",
        "Too close to call: Record-to-replay as left (record-to-replay level, right, 500 Hz: 0.45 ± 0.09 dB).",
    )


def test_a_title_with_commas_is_told_from_the_next_and_the_worst_reading_named(tmp_path: Path) -> None:
    """A level that is 1 dB wrong at ±0.5 dB is worse than a response that is 3.5 dB wrong at ±2 dB."""
    titled = {"proof-replay": "Play it, and listen", "proof-record": "Response at −20 dB, left and right"}
    w = begin(tmp_path, steps=tuple(replace(s, title=titled.get(s.id, s.title)) for s in STEPS))
    dull = [(replace(r, value=-3.5), target) for r, target in response("left", 1.0)[5:6]]
    w.keep("proof-replay", "left", "reference tape", [level("right", -13.0), *dull, level("left", -12.9)])
    w.keep("proof-record", "left", "record-replay", dull)
    w.finish()
    assert came_out(w.store).sentences[0] == (
        "2 steps are out: Play it, and listen (level, right, 315 Hz: −13.00 ± 0.12 dBFS); "
        "Response at −20 dB, left and right (response, left, 1 kHz: −3.50 ± 0.11 dB)."
    )


def test_an_inverted_channel_is_out_whatever_else_is_in(w: Writer) -> None:
    """Half a period at every frequency: one channel is inverted, and only the delay is in."""
    delay = Reading("azimuth_delay", "left-right", 0.5, 0.2, frequency_hz=1000.0, method=Method("phase", inverted=True))
    (_, shown) = with_polarity((JudgedReading(delay, Verdict("in", 0.0, 6.0), "record-replay"),))
    assert shown.verdict is not None
    assert (shown.reading.quantity, shown.verdict.word) == ("polarity", "out")
    w.keep("proof-record", "left", "record-replay", [record_level("left", 0.1)])
    record = replace(w.store.records()[-1], id="r9", reading=shown.reading, verdict=shown.verdict)
    w.store.keep((record,))
    w.finish()
    said = came_out(w.store)
    assert said.headline == "Out: one channel is inverted"
    assert said.sentences[0].startswith("One channel is inverted")
    assert "right" not in owner_summary(read_session(w.store.folder)).replace("not sound right", "")


def test_only_the_last_attempt_counts(w: Writer) -> None:
    w.keep("proof-record", "left", "record-replay", [record_level("left", 3.0)])
    first = w.store.records()[-1]
    again = replace(first, id="r9", attempt=2, reading=record_level("left", 0.0)[0])
    assert again.verdict is not None
    w.store.keep((replace(again, verdict=replace(again.verdict, word="in")),))
    w.finish()
    assert came_out(w.store).word == "in"


def test_a_step_that_was_not_measured_is_named(w: Writer) -> None:
    w.finish()
    said = came_out(w.store)
    assert (said.word, said.headline, said.exit_code) == ("too close to call", "Not all in", 1)
    assert said.sentences == ("Not measured: Record-to-replay as left.",)


def test_a_skipped_step_is_named(w: Writer) -> None:
    w.note("proof-record", Skipped("no time"))
    w.finish()
    assert came_out(w.store).sentences == ("Skipped: Record-to-replay as left.",)


def test_broken_off(w: Writer) -> None:
    w.store.step_done("proof-replay")
    said = came_out(w.store)
    assert (said.word, said.headline) == ("no reading", "Not finished")
    assert said.sentences == (
        "Broken off after “Reference tape as left”; it can be resumed.",
        "Not measured yet: Record-to-replay as left.",
    )


def test_nothing_judged(tmp_path: Path) -> None:
    w = begin(tmp_path)
    w.finish()
    found = tuple(step for step in STEPS if not step.judged)
    assert replace(read_session(w.store.folder), steps=found).conclusion.headline == "Nothing judged"
