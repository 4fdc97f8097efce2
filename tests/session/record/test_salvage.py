"""What can be read from a damaged file."""

from __future__ import annotations

import tomllib

from hypothesis import given
from hypothesis import strategies as st

from bench.procedure.state.event_kinds import Event
from bench.procedure.state.journal import ReadingRecord
from bench.session.record.record import event_text, finite, reading_text
from bench.session.record.salvage import salvage
from tests.session.record.test_migrate import OLD
from tests.session.strategies import events, records

TEXT = OLD.read_text(encoding="utf-8")


def test_a_sound_file_is_salvaged_whole() -> None:
    assert salvage(TEXT) == (tomllib.loads(TEXT), 0)


def test_a_broken_table_is_lost_and_those_around_it_are_not() -> None:
    whole, lost = salvage(TEXT.replace("value = -13.4", "value = -13,4"))
    assert lost == 1
    assert [r["id"] for r in whole["readings"]] == ["r0002"]
    assert whole["job"]["heads"] == 2


@given(at=st.integers(0, len(TEXT)))
def test_wherever_it_is_cut_off_what_stands_before_is_kept(at: int) -> None:
    whole, lost = salvage(TEXT[:at])
    assert lost <= 1
    complete = TEXT[:at].count("[[readings]]") - 1
    assert [r.get("id") for r in whole.get("readings", [])][:complete] == ["r0001", "r0002"][: max(complete, 0)]


@given(kept=st.lists(records, max_size=3), noted=st.lists(events, max_size=3))
def test_whatever_an_entry_holds_no_other_line_looks_like_a_table(
    kept: list[ReadingRecord], noted: list[Event]
) -> None:
    text = "".join([*(reading_text(finite(r)) for r in kept), *(event_text(e) for e in noted)])
    assert salvage("schema = 2\n" + text) == ({"schema": 2} | tomllib.loads(text), 0)
