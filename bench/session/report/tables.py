"""The tables of a report: one row for each thing measured, with columns for as found and as left."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

from bench.figures import hertz
from bench.measure.catalogue import QUANTITIES
from bench.measure.reading import Channel, NoReading, Reading, ReferenceTone, Result
from bench.measure.stage import Stage
from bench.measure.verdict import Verdict
from bench.procedure.state.journal import ReadingRecord
from bench.session.report.improvement import comparable, method_of
from bench.session.report.references import reference_text
from bench.words.figures import decibels, tone
from bench.words.names import CHANNELS, STAGES, unit_in_words
from bench.words.readings import channel_name, no_reading_text, reading_text, target_text, value_text, verdict_text
from bench.words.sentences import true_minus

USUAL = frozenset({"", "common practice, no source"})
"""Sources of a target that the table does not mention."""
SOURCES = ("reference tape", "record-replay", "owner's tape", "machine")
CHANNEL_ORDER: tuple[Channel, ...] = ("left", "right", "mono", "left-right", "both")
CURVES = frozenset({"response", "encoding_error", "decoding_error"})
"""Quantities with a table of their own, where several tones were read."""
CIRCUITS = {"encoding_error": "encoder", "decoding_error": "decoder"}
STAGE_ORDER: tuple[Stage, ...] = ("found-dirty", "found-clean", "left")


@dataclass(frozen=True, slots=True)
class Cell:
    """One reading in a table."""

    text: str
    """The figure with its uncertainty, without its unit; "–" where nothing was measured."""
    verdict: str = ""
    """The verdict in words; "" where it was not judged."""
    word: str = ""
    """The word of the verdict, which selects shape and colour."""
    id: str = ""
    """Id of its reading."""
    note: str = ""
    """What it has of its own: where it was found, its level in a circuit, another target than its line."""


NOTHING = Cell("–")


@dataclass(frozen=True, slots=True)
class Line:
    """One channel of a quantity."""

    channel: str
    cells: tuple[Cell, ...]
    """One for each of `STAGE_ORDER`."""
    unit: str
    target: str


@dataclass(frozen=True, slots=True)
class Measurement:
    """One quantity from one source, at one tone, by one method."""

    source: str
    name: str
    detail: str
    """Tone and reference."""
    method: str
    """Method, and source of the target."""
    note: str
    """Letter of its method in the notes below the table."""
    lines: tuple[Line, ...]
    reasons: tuple[str, ...]
    """Why there is no reading, by channel and stage."""


@dataclass(frozen=True, slots=True)
class Point:
    """A frequency of a response, on one channel, with the records for a plot."""

    records: tuple[ReadingRecord | None, ...]
    """One for each of `STAGE_ORDER`."""
    cells: tuple[Cell, ...]


@dataclass(frozen=True, slots=True)
class ResponseRow:
    """One frequency."""

    label: str
    hz: float
    points: tuple[Point, ...]
    """One for each channel of the table."""


@dataclass(frozen=True, slots=True)
class Limits:
    """The limits by which a response was judged at some stages."""

    stages: tuple[Stage, ...]
    row: tuple[str, ...]
    """One for each frequency; "–" where nothing was measured at these stages."""


@dataclass(frozen=True, slots=True)
class ResponseTable:
    """A response: frequencies down, channels and stages across."""

    source: str
    subject: str
    """What has this response: what was replayed, or the encoder or decoder alone."""
    state: str
    """State of the machine, direction or tape, where it was not the usual one."""
    title: str
    detail: str
    """Level of the tones and reference."""
    method: str
    """Method, and source of the limits."""
    channels: tuple[Channel, ...]
    stages: tuple[Stage, ...]
    """Stages at which anything was measured."""
    names: Mapping[Stage, str]
    """Names of the stages."""
    limits: tuple[Limits, ...]
    """By stage where they differ."""
    rows: tuple[ResponseRow, ...]
    reasons: tuple[str, ...]


def figures(records: tuple[ReadingRecord, ...], names: Mapping[Stage, str] = STAGES) -> tuple[Measurement, ...]:
    """Everything but responses of several tones and components that are not judged, ordered by source and quantity.

    Args:
        records: the readings that count.
        names: names of the stages.
    """
    curves = _curves(records)
    rows = [r for r in _with_method(records) if r.verdict is not None or not _is_component(r.reading)]
    things = _by_thing([r for r in rows if not _in_a_curve(r, curves)])
    measurements: list[Measurement] = []
    letters: dict[str, str] = {}
    for stages in sorted(things, key=lambda s: _order(_any(s))):
        record = _any(stages)
        judged = next((r.verdict for r in reversed(stages) if r and r.verdict), None)
        reading = record.reading
        found = QUANTITIES[reading.quantity].frequency == "found" or _is_component(reading)
        at = "" if found else tone(reading.frequency_hz, record.sent_db)
        detail = (
            (at + _state(record)).removeprefix(", "),
            f"re {reference_text(reading)}" if reading.reference else "",
        )
        method = _joined(
            str(method_of(reading)), f"target: {judged.source}" if judged and judged.source not in USUAL else ""
        )
        measurement = Measurement(
            source=record.source,
            name=QUANTITIES[reading.quantity].title,
            detail=_joined(*detail),
            method=method,
            note=letters.setdefault(method, _letter(len(letters))) if method else "",
            lines=(
                Line(
                    channel_name(reading),
                    tuple(_cell(r, judged) for r in stages),
                    unit_in_words(reading.quantity),
                    target_text(judged),
                ),
            ),
            reasons=tuple(
                f"{CHANNELS[reading.channel]}, {names[stage]}: {reading_text(r.reading)}"
                for stage, r in zip(STAGE_ORDER, stages, strict=True)
                if r and isinstance(r.reading, NoReading)
            ),
        )
        last = measurements[-1] if measurements else None
        if last and (last.source, last.name, last.detail, last.note) == (
            measurement.source,
            measurement.name,
            measurement.detail,
            measurement.note,
        ):
            measurements[-1] = replace(
                last, lines=last.lines + measurement.lines, reasons=last.reasons + measurement.reasons
            )
        else:
            measurements.append(measurement)
    return tuple(measurements)


def responses(records: tuple[ReadingRecord, ...], names: Mapping[Stage, str] = STAGES) -> tuple[ResponseTable, ...]:
    """One table for each source, method and reference, and for each level where a frequency has several.

    Args:
        records: the readings that count.
        names: names of the stages.
    """
    groups: dict[tuple[object, ...], list[ReadingRecord]] = {}
    curves = _curves(records)
    for r in _with_method(records):
        if _in_a_curve(r, curves):
            groups.setdefault(_curve_of(r), []).append(r)
    tables: list[ResponseTable] = []
    for group in sorted(groups.values(), key=lambda g: SOURCES.index(g[0].source)):
        levels: dict[float | None, set[float | None]] = {}
        for r in group:
            levels.setdefault(r.reading.frequency_hz, set()).add(r.sent_db)
        together = group[0].reading.quantity != "response" or group[0].noise_reduction != "off"
        if together or all(len(found) == 1 for found in levels.values()):
            tables.append(_response(group, names))
            continue
        apart = sorted({r.sent_db for r in group}, key=lambda db: -(db or 0.0))
        tables += [_response([r for r in group if r.sent_db == level], names) for level in apart]
    return tuple(tables)


def _letter(n: int) -> str:
    """The name of the nth note: a to z, then aa, ab and so on."""
    before, last = divmod(n, 26)
    return ("" if not before else _letter(before - 1)) + chr(ord("a") + last)


def _curve_of(r: ReadingRecord) -> tuple[str, ...]:
    """What the tones of a curve share. With noise reduction in, a curve has several levels, which should agree."""
    reference = r.reading.reference
    if r.noise_reduction != "off" and isinstance(reference, ReferenceTone):
        reference = ReferenceTone(reference.hz)
    how = (str(r.reading.method.kind), str(reference), r.noise_reduction, r.lot, r.direction)
    return (r.source, r.reading.quantity, *how)


def _curves(records: tuple[ReadingRecord, ...]) -> set[tuple[str, ...]]:
    """The responses of several tones; a single tone is a figure, not a curve."""
    tones: dict[tuple[str, ...], set[float]] = {}
    for r in _with_method(records):
        if r.reading.quantity in CURVES and r.reading.frequency_hz is not None:
            tones.setdefault(_curve_of(r), set()).add(r.reading.frequency_hz)
    return {key for key, hz in tones.items() if len(hz) > 1}


def _in_a_curve(r: ReadingRecord, curves: set[tuple[str, ...]]) -> bool:
    return _curve_of(r) in curves


def _response(group: list[ReadingRecord], names: Mapping[Stage, str]) -> ResponseTable:
    measurements = {}
    for stages in _by_thing(group):
        any_ = _any(stages)
        measurements[any_.reading.frequency_hz or 0.0, any_.sent_db, any_.reading.channel] = stages
    channels = tuple(c for c in CHANNEL_ORDER if any(key[2] == c for key in measurements))
    stages_shown = tuple(
        stage for n, stage in enumerate(STAGE_ORDER) if any(found[n] is not None for found in measurements.values())
    )
    levels = {r.sent_db for r in group}
    first = group[0]
    circuit = CIRCUITS.get(first.reading.quantity, "")
    rows = []
    no_reading: dict[tuple[str, Channel, Stage], list[str]] = {}
    for hz, level in sorted({(key[0], key[1]) for key in measurements}, key=lambda k: (k[0], k[1] or 0.0)):
        plain = circuit or len(levels) == 1 or level is None
        label = hertz(hz) if plain else tone(hz, level)
        points = []
        for channel in channels:
            found = measurements.get((hz, level, channel), (None, None, None))
            points.append(Point(found, tuple(_cell(r) for r in found)))
            for stage, r in zip(STAGE_ORDER, found, strict=True):
                if r and isinstance(r.reading, NoReading):
                    no_reading.setdefault((r.reading.reason, channel, stage), []).append(label)
        rows.append(ResponseRow(label, hz, tuple(points)))
    level = next(iter(levels))
    sources = list(dict.fromkeys(r.verdict.source for r in group if r.verdict and r.verdict.source))
    return ResponseTable(
        source=first.source,
        subject=circuit or first.source,
        state="" if circuit else _state(first).removeprefix(", "),
        title=f"{QUANTITIES[first.reading.quantity].title}, {first.source}{_state(first)}",
        detail=_joined(
            f"tones at {decibels(level)}" if len(levels) == 1 and level is not None else "",
            f"dB re {_reference(group)}" if first.reading.reference else "dB",
        ),
        method=_joined(str(first.reading.method.kind), f"limits: {', '.join(sources)}" if set(sources) - USUAL else ""),
        channels=channels,
        stages=stages_shown,
        names=names,
        limits=_limits(rows, stages_shown),
        rows=tuple(rows),
        reasons=tuple(
            f"{', '.join(tones)}, {CHANNELS[channel]}, {names[stage]}: {no_reading_text(reason)}"
            for (reason, channel, stage), tones in no_reading.items()
        ),
    )


def _limits(rows: list[ResponseRow], stages: tuple[Stage, ...]) -> tuple[Limits, ...]:
    """The limits of each stage; stages that nowhere differ share them."""
    out: list[Limits] = []
    for stage in stages:
        there = tuple(_limit(row, STAGE_ORDER.index(stage)) for row in rows)
        last = out[-1].row if out else ()
        if last and all(a == b or NOTHING.text in (a, b) for a, b in zip(last, there, strict=True)):
            both = tuple(b if a == NOTHING.text else a for a, b in zip(last, there, strict=True))
            out[-1] = Limits((*out[-1].stages, stage), both)
        else:
            out.append(Limits((stage,), there))
    return tuple(out)


def _limit(row: ResponseRow, stage: int) -> str:
    found = [r for r in (point.records[stage] for point in row.points) if r is not None]
    judged = next((r.verdict for r in found if r.verdict is not None), None)
    return target_text(judged) if found else NOTHING.text


def _state(r: ReadingRecord) -> str:
    """The state of the machine, where it was not the usual one."""
    state = f", noise reduction {r.noise_reduction}" if r.noise_reduction != "off" else ""
    state += f", in {r.direction}" if r.direction else ""
    return f"{state}, {r.lot}" if r.lot else state


def _reference(group: list[ReadingRecord]) -> str:
    found = {reference_text(r.reading) for r in group}
    return next(iter(found)) if len(found) == 1 else f"{_curve_of(group[0])[3]} at the same level"


def _by_thing(records: list[ReadingRecord]) -> list[tuple[ReadingRecord | None, ...]]:
    """The last record of each thing measured at each stage; one with a verdict goes before one without."""
    measurements: dict[object, dict[Stage, ReadingRecord]] = {}
    for r in records:
        stages = measurements.setdefault(comparable(r), {})
        if r.verdict is not None or r.stage not in stages or stages[r.stage].verdict is None:
            stages[r.stage] = r
    return [tuple(found.get(stage) for stage in STAGE_ORDER) for found in measurements.values()]


def _with_method(records: tuple[ReadingRecord, ...]) -> list[ReadingRecord]:
    """Give a failed reading without a method the method of similar readings, so that it appears in their table."""
    fellows = {(r.source, r.reading.quantity): r.reading for r in records if r.reading.method.name}
    return [_like(r, fellows.get((r.source, r.reading.quantity))) for r in records]


def _like(record: ReadingRecord, fellow: Result | None) -> ReadingRecord:
    if fellow is None or isinstance(record.reading, Reading) or record.reading.method.name:
        return record
    return replace(record, reading=replace(record.reading, method=fellow.method, reference=fellow.reference))


def _any(stages: tuple[ReadingRecord | None, ...]) -> ReadingRecord:
    return next(r for r in reversed(stages) if r is not None)


def _order(record: ReadingRecord) -> tuple[object, ...]:
    r = record.reading
    return (
        SOURCES.index(record.source),
        list(QUANTITIES).index(r.quantity),
        0.0 if _is_component(r) else r.frequency_hz or 0.0,
        -(record.sent_db or 0.0),
        record.direction,
        record.noise_reduction,
        record.lot,
        CHANNEL_ORDER.index(r.channel),
    )


def _cell(record: ReadingRecord | None, line: Verdict | None = None) -> Cell:
    if record is None:
        return NOTHING
    text, verdict, note = value_text(record.reading), record.verdict, _note(record, line)
    if verdict is None:
        return Cell(text, id=record.id, note=note)
    return Cell(text, verdict_text(verdict), verdict.word, record.id, note)


def _note(record: ReadingRecord, line: Verdict | None) -> str:
    parts = []
    reading, verdict = record.measured, record.verdict
    if reading is not None:
        hz, how = reading.frequency_hz, reading.method
        if how.worst_level_db is not None:
            parts.append(f"at {tone(hz, how.worst_level_db)}")
        elif how.level_db is not None:
            parts.append(f"at {decibels(how.level_db)}")
        elif _is_component(reading) and hz:
            parts.append(f"at {hertz(hz)}{f', {how.part}' if how.part else ''}")
    if line is not None and verdict is not None and target_text(verdict) != target_text(line):
        parts.append(f"target {target_text(verdict)}")
    return _joined(*parts)


def _is_component(reading: Result) -> bool:
    return QUANTITIES[reading.quantity].drawn == "lines"


def _joined(*parts: str) -> str:
    """The non-empty parts of a detail, joined, with true minus signs."""
    return true_minus("; ".join(filter(None, parts)))
