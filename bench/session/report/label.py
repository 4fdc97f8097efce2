"""The sticker inside the lid: when, for which tape, at which level and bias, and when it is due again."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator
from pathlib import Path

from bench.figures import hertz
from bench.measure.reading import Reading
from bench.procedure.state.event_kinds import of_kind
from bench.procedure.state.events import SignedOff
from bench.session.compare.history import history_of
from bench.session.compare.machines import INTERVAL_MONTHS
from bench.session.record.index import entries_beside
from bench.session.record.reader import read_session
from bench.session.record.record import SessionRecord
from bench.words.dates import day
from bench.words.figures import figure, with_unit
from bench.words.names import CHANNELS
from bench.words.sentences import inert, true_minus

WIDTH = 34


def label_lines(folder: Path, interval_months: int = INTERVAL_MONTHS) -> list[str]:
    """The label of a session.

    Args:
        folder: the session's folder.
        interval_months: months from one visit of a machine to the next.

    Returns:
        Lines of at most `WIDTH` characters.

    Raises:
        Problem: the session can't be read.
    """
    session = read_session(folder)
    lines = [_head(session), *textwrap.wrap(inert(session.job.machine), WIDTH), ""]
    facts = [
        ("Tape", session.job.tape),
        ("Level", session.job.reference_level),
        *(("Bias", said) for said in _bias(session)),
        ("Next due", _due(session, interval_months)),
        ("By", _by(session)),
    ]
    for term, said in facts:
        if said:
            lines += textwrap.wrap(f"{term:9}{inert(said)}", WIDTH, subsequent_indent=" " * 9)
    conclusion = session.conclusion
    lines += ["", conclusion.headline if conclusion.word == "in" else f"{conclusion.headline.upper()}: see the report"]
    return [true_minus(inert(line)) for line in lines]


def _head(session: SessionRecord) -> str:
    """The heading: a machine on which nothing was adjusted was checked, not lined up."""
    return f"{'Lined up' if session.adjusted else 'Checked'} {day(session.begun)}"


def _bias(session: SessionRecord) -> Iterator[str]:
    """The reading of the tone by which bias was set, in each channel."""
    steps = {s.id for s in session.steps if s.sets_bias}
    last: dict[str, Reading] = {}
    for record in session.valid_readings:
        if record.step in steps and record.measured is not None:
            last[record.reading.channel] = record.measured
    for r in last.values():
        at = f" at {hertz(r.frequency_hz)}" if r.frequency_hz else ""
        value = with_unit(figure(r.value, r.unit, r.uncertainty, sign=True), r.unit)
        over = "past peak" if r.quantity == "overbias" else f"re {r.reference}" if r.reference else ""
        yield f"{CHANNELS[r.channel]} {value}{at} {over}".rstrip()


def _due(session: SessionRecord, interval_months: int) -> str:
    """When it is due again, from this session and earlier ones only; "" for an interrupted session."""
    if not session.done:
        return ""
    folder = session.folder.resolve()
    found = entries_beside(folder)
    own = next((e for e in found if e.name == folder.name), None)
    if own is None:
        return ""
    earlier = [e for e in found if e.machine == own.machine and not e.problem and e.begun <= own.begun]
    due = history_of(earlier, None, interval_months).due if earlier else None
    if due is None or due.on is None:
        return ""
    return f"{day(due.on)}, by its readings" if due.sooner else day(due.on)


def _by(session: SessionRecord) -> str:
    signed = list(of_kind(session.events, SignedOff))
    return signed[-1].who if signed else ""
