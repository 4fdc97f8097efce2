"""Which tests a diagnosis of a session may suggest."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from bench.procedure.state.events import Acted, Overridden
from bench.session.compare.diagnosis import diagnosis_of
from bench.session.record.reader import read_session

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
