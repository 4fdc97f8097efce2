"""The contents of a report, before it is set as a page or as lines of text."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from pathlib import Path

from bench.figures import hertz
from bench.measure.catalogue import QUANTITIES
from bench.measure.stage import Stage
from bench.procedure.state.attention import attention
from bench.procedure.state.conclusion import Conclusion
from bench.procedure.state.event_kinds import Event, of_kind
from bench.procedure.state.event_words import event_sentence
from bench.procedure.state.events import (
    Acted,
    Answered,
    Done,
    HeadDelayMeasured,
    InputProcessed,
    InterfaceSheetWritten,
    LotLoaded,
    Noted,
    RoundsRecorded,
    SignedOff,
    Skipped,
    Ticked,
    Turned,
    TurnedBack,
)
from bench.procedure.state.journal import ReadingRecord
from bench.procedure.state.ranking import RankedTape, ranking
from bench.session.compare.earlier_tapes_text import earlier_tapes_paragraph
from bench.session.record.index import entries_beside
from bench.session.record.record import FurtherTape, SessionRecord, reference_plays
from bench.session.report.causes import causes_of
from bench.session.report.debrief_text import debrief_lines
from bench.session.report.departures import departures
from bench.session.report.improvement import NOTHING_ADJUSTED, cleaning_sentence, line_up_sentence
from bench.session.report.other_readings import Attempt, ids_in_tables, other_readings
from bench.session.report.owner_summary import owner_summary
from bench.session.report.references import reference_notes
from bench.session.report.tables import STAGE_ORDER, Measurement, ResponseTable, figures, responses
from bench.words.dates import day, hour
from bench.words.names import CHANNELS, stages_of
from bench.words.readings import reading_text
from bench.words.sentences import counted, listed, true_minus

HAZARDS = {
    "mains": "Mains and high tension",
    "demagnetiser": "Demagnetiser",
    "solvent": "Solvents",
    "moving-parts": "Moving parts",
    "loud-tones": "Loud tones",
    "reference-tape": "Reference tape",
    "owners-tape": "Owner's tapes",
}


@dataclass(frozen=True, slots=True)
class Signature:
    """A signature."""

    who: str
    accepts: str
    when: str


@dataclass(frozen=True, slots=True)
class Document:
    """Everything in the report, in words."""

    heading: str
    machine: str
    """Or the interface, where that was calibrated."""
    procedure: str
    session: str
    """Name of its folder."""
    when: str
    conclusion: Conclusion
    attention: tuple[str, ...]
    """What a reader must know besides the verdict."""
    adjusted: bool
    stages: Mapping[Stage, str]
    """Names of the stages."""
    cleaning: str
    """What cleaning gave back; "" where it was no part of the job. The same for the line-up."""
    line_up: str
    facts: tuple[tuple[str, str], ...]
    figures: tuple[Measurement, ...]
    responses: tuple[ResponseTable, ...]
    references: tuple[str, ...]
    """The levels to which the tables refer by name."""
    exceptions: tuple[tuple[str, str, str], ...]
    """(kind, step, what and why)."""
    noted: tuple[tuple[str, str, str], ...]
    """(time, question, answer) of answers and notes."""
    ranked: tuple[RankedTape, ...]
    """Several tapes tried on the machine, best first."""
    earlier: tuple[Attempt, ...]
    """Readings that are in none of the tables."""
    flutter: tuple[str, ...]
    """Components of the flutter, largest first, with their rate and the part that turns at it."""
    trimmers: tuple[str, ...]
    cautions: tuple[tuple[str, str], ...]
    """(hazard, fullest caution that was given)."""
    owner_summary: str
    """The owner's complaint and its cause; "" where neither is known."""
    likeliest_cause: str
    """One sentence; "" if no cause is likely."""
    causes: tuple[str, ...]
    """What was wrong, and how sure that is."""
    earlier_tapes: str
    """How tapes recorded before the line-up play after it; "" where the session does not show it."""
    debrief: tuple[str, ...]
    """Debrief of an exercise that is over."""
    evidence: tuple[str, ...]
    """Files with the sound behind readings."""
    signed: tuple[Signature, ...]
    procedure_sha256: str
    inputs: tuple[tuple[str, str], ...]
    """(file, sha256)."""
    program: str
    read_only: str

    @property
    def summary(self) -> tuple[str, ...]:
        """The sentences at the top: the verdict on the run and, where not all is in, the likeliest cause."""
        cause = [self.likeliest_cause] if self.likeliest_cause and self.conclusion.word != "in" else []
        return (*self.conclusion.sentences, *cause)


def document_of(session: SessionRecord) -> Document:
    """Put a session into words."""
    latest = session.valid_readings
    job, settings = session.job, {f.setting for f in session.job.further}
    ranked = ranking([r for r in latest if r.lot not in settings])
    parts = [r for r in latest if r.verdict is None and QUANTITIES[r.reading.quantity].drawn == "lines"]
    # Where the steps are not known, the report must not state that nothing was adjusted.
    adjusted = session.adjusted or not session.steps
    names = stages_of(adjusted=adjusted)
    measurements, tables = figures(latest, names), responses(latest, names)
    of_interface = any(step.kind == "interface" for step in session.steps)
    if of_interface:
        measurements = tuple(replace(m, source="interface") for m in measurements)
        tables = tuple(replace(t, source="interface", subject="interface", title="Response, interface") for t in tables)
    likeliest_cause, causes = causes_of(session)
    return Document(
        heading="Interface report" if of_interface else "Line-up report",
        machine=job.port if of_interface else job.machine or "Machine without a name",
        procedure=job.procedure or "Procedure without a title",
        session=session.folder.resolve().name,
        when=_when(session),
        conclusion=session.conclusion,
        attention=tuple(attention(session.events, session.titles).values()),
        adjusted=adjusted,
        stages=names,
        cleaning=cleaning_sentence(latest, adjusted=adjusted) if _cleaned(session) else "",
        line_up=_line_up(session, latest, adjusted=adjusted),
        facts=(("Sample rate", hertz(job.sample_rate)),) if of_interface else _facts(session),
        figures=measurements,
        responses=tables,
        references=reference_notes(latest, job.tape_format),
        earlier=other_readings(session, ids_in_tables(measurements, tables) | {r.id for r in parts}),
        exceptions=tuple(departures(session, latest)),
        noted=tuple(_noted(session)),
        trimmers=_turned(session),
        cautions=_cautions(session),
        owner_summary="" if ranked else owner_summary(session),
        earlier_tapes=earlier_tapes_paragraph(session),
        ranked=ranked,
        likeliest_cause=likeliest_cause,
        causes=causes,
        flutter=_flutter(parts, names),
        debrief=tuple(true_minus(text) for _, text in debrief_lines(session.events)),
        evidence=tuple(e.path for e in session.evidence),
        signed=tuple(_signed(session.events)),
        procedure_sha256=_procedure_sha256(session),
        inputs=tuple((i.path, i.sha256) for i in session.inputs if Path(i.path).parent.name != "faults"),
        program=session.program,
        read_only=session.read_only,
    )


def _when(session: SessionRecord) -> str:
    # Notes added afterwards belong to no step, so they do not count as work.
    worked = [e.time for e in session.events if e.step or isinstance(e, Done)]
    last = [*(r.time for r in session.readings[-1:]), *worked[-1:]]
    end = max([session.begun, *last])
    if day(end) == day(session.begun):
        return f"{day(session.begun)}, {hour(session.begun)} to {hour(end)}"
    return f"{day(session.begun)}, {hour(session.begun)}, to {day(end)}, {hour(end)}"


def _cleaned(session: SessionRecord) -> bool:
    """Whether the machine was cleaned, or was measured because it was to be."""
    acted = any(event.act == "clean" for event in of_kind(session.events, Acted))
    return acted or not session.steps or any(r.stage == "found-dirty" for r in session.readings)


def _line_up(session: SessionRecord, latest: tuple[ReadingRecord, ...], *, adjusted: bool) -> str:
    """What the line-up gave back; "" for a job that adjusts nothing, or only for as long as a tape is played."""
    turned = {e.trimmer for e in of_kind(session.events, Turned)}
    back = {e.trimmer for e in of_kind(session.events, TurnedBack)}
    if session.steps and (not any(s.kind == "adjust" for s in session.steps) or (back and turned <= back)):
        return ""
    return line_up_sentence(latest) if adjusted else NOTHING_ADJUSTED


def _facts(session: SessionRecord) -> tuple[tuple[str, str], ...]:
    job = session.job
    sound = job.port
    if job.sample_rate:
        sound += f", {hertz(job.sample_rate)}"
    reference_tapes = dict.fromkeys(job.reference_tape_of(lot) for lot in job.tapes)
    facts = (
        ("Machine", f"{job.machine}, {job.heads} heads"),
        ("Tape speed", job.speed_text),
        ("Equalisation", job.equalisation),
        ("Reference level", job.reference_level),
        ("Tape in use", job.tape),
        ("Also lined up for", "; ".join(_further(one) for one in job.further)),
        *(("Reference tape", _passes(session, name)) for name in reference_tapes),
        ("Instruments", sound),
        ("Interface calibration", job.calibration),
    )
    return tuple((term, text) for term, text in facts if text)


def _turned(session: SessionRecord) -> tuple[str, ...]:
    """Each trimmer that was turned, with all its turns in the session."""
    turns: dict[str, tuple[float, ...]] = {}
    for event in of_kind(session.events, Turned):
        turns[event.trimmer] = (*turns.get(event.trimmer, ()), *event.degrees)
    return tuple(true_minus(event_sentence(Turned(trimmer, degrees), {})) for trimmer, degrees in turns.items())


def _further(tape: FurtherTape) -> str:
    return f"{tape.setting}: {tape.tape}, {tape.equalisation}, {tape.speed}"


def _passes(session: SessionRecord, name: str) -> str:
    """Passes of a reference tape, which wears: in this session, and in all sessions up to this one."""
    here = reference_plays([r for r in session.readings if session.job.reference_tape_of(r.lot) == name])
    if not name or not here:
        return name
    others = [
        e.reference_plays
        for e in entries_beside(session.folder)
        if e.reference_tape == name and e.begun <= session.begun and e.name != session.folder.resolve().name
    ]
    total = f", {here + sum(others)} so far in all sessions here" if others else ""
    return f"{name}: {counted(here, 'pass', 'passes')} in this session{total}"


def _flutter(parts: Iterable[ReadingRecord], names: Mapping[Stage, str]) -> tuple[str, ...]:
    largest = sorted(parts, key=lambda r: (STAGE_ORDER.index(r.stage), -(r.measured.value if r.measured else 0.0)))
    return tuple(
        f"{names[r.stage]}, {CHANNELS[r.reading.channel]}: {reading_text(r.reading)}"
        + (f" at {hertz(r.reading.frequency_hz)}" if r.reading.frequency_hz else "")
        + (f"; {r.reading.method}" if r.measured else "")
        for r in largest
    )


_NOTED = (
    Noted,
    TurnedBack,
    LotLoaded,
    HeadDelayMeasured,
    RoundsRecorded,
    InputProcessed,
    InterfaceSheetWritten,
    Ticked,
)
"""Events listed among the answers: notes and ticks of the person, and what the program noted besides readings."""


def _noted(session: SessionRecord) -> Iterable[tuple[str, str, str]]:
    """Answers and notes in order; a note that was made at several steps appears once."""
    titles = session.titles
    at_steps: dict[str, list[str]] = {}
    for event in session.events:
        if isinstance(event, _NOTED):
            at_steps.setdefault(event_sentence(event, titles), []).append(titles.get(event.step, event.step))
    named = attention(session.events, titles)
    for place, event in enumerate(session.events):
        nothing_new = not event.lines if isinstance(event, Ticked) else place in named
        if not isinstance(event, (Answered, *_NOTED)) or nothing_new:
            continue
        text = event_sentence(event, titles)
        if isinstance(event, Answered) or len(at_steps[text]) == 1:
            yield _time(event, session), _asked(event, titles), text
        elif at_steps[text]:
            yield _time(event, session), f"{listed(list(dict.fromkeys(at_steps[text])))}:", text
            at_steps[text] = []


def _time(event: Event, session: SessionRecord) -> str:
    """The time of day, with the date where it differs from that of the session."""
    same = event.time.date() == session.begun.date()
    return hour(event.time) if same else f"{day(event.time)}, {hour(event.time)}"


def _asked(event: Event, titles: Mapping[str, str]) -> str:
    if not event.step:
        return "Added afterwards:"
    title = titles.get(event.step, event.step)
    return title if title.endswith(("?", "!", ".")) else f"{title}:"


def _cautions(session: SessionRecord) -> tuple[tuple[str, str], ...]:
    skipped = {e.step for e in of_kind(session.events, Skipped)}
    came_to = {e.step for e in session.events} | {r.step for r in session.readings} | set(session.steps_done)
    found: dict[str, list[str]] = {}
    for step in session.steps:
        if step.id in came_to - skipped:
            for caution in step.cautions:
                found.setdefault(HAZARDS.get(caution.hazard, caution.hazard), []).append(caution.say.strip())
    return tuple((hazard, _fullest(given)) for hazard, given in found.items())


def _fullest(given: list[str]) -> str:
    """The longest caution on a hazard; the copy of the procedure has them all."""
    return max(given, key=len)


def _signed(events: tuple[Event, ...]) -> Iterable[Signature]:
    for event in of_kind(events, SignedOff):
        yield Signature(event.who, event.accepts, f"{day(event.time)}, {hour(event.time)}")


def _procedure_sha256(session: SessionRecord) -> str:
    for file in session.inputs:
        if Path(file.path).stem == session.job.procedure_id and Path(file.path).parent.name != "sheets":
            return file.sha256
    return session.inputs[0].sha256 if session.inputs else ""
