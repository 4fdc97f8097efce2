"""Tapes from before a line-up in words: a paragraph for the report, lines for the choice, a table for the terminal."""

from __future__ import annotations

from bench.figures import hertz
from bench.measure.reading import Channel
from bench.problem import Problem
from bench.session.compare.earlier_tapes import choice, earlier_tapes, lost_by_dirt
from bench.session.compare.interchange import SIDES, Pair
from bench.session.compare.machine_errors import Value
from bench.session.record.record import SessionRecord
from bench.words.figures import decibels, with_uncertainty
from bench.words.names import CHANNELS
from bench.words.sentences import listed

TREBLE_FROM_HZ = 2000.0
"""In a paragraph, the response from this frequency up is the treble."""
MEASURED = ("reference tape", "record-replay")
_NONE = "How your own tapes from before this line-up play on it: no reading, because"
EVERY_FIGURE = "tapebench interchange {0}"
DECODE = "tapebench decode --session {0} --replayed-on {0}"


def earlier_tapes_paragraph(session: SessionRecord) -> str:
    """How the owner's tapes from before the line-up play, and what corrects a transfer of them.

    "" where nothing was adjusted, or where neither replay nor recording was measured as found.
    """
    measured = any(r.stage == "found-clean" and r.source in MEASURED for r in session.readings)
    if not (session.adjusted and measured):
        return ""
    try:
        return _paragraph(earlier_tapes(session), session)
    except Problem as problem:
        because = problem.sentence.removeprefix(f"{session.folder}: ")  # the report already names the session
        return f"{_NONE} {because}."


def _paragraph(found: Pair, session: SessionRecord) -> str:
    if found.because:
        return f"{_NONE} {found.because}."
    of = f" on {session.job.tapes['']}" if session.job.further else ""
    heard = _heard(found)
    name = session.folder.resolve().name
    return (
        f"Your own tapes from before this line-up{of} will play on it with {_figures(found)}."
        f"{f' {heard}.' if heard else ''} {_dirt(session)} Every figure: {EVERY_FIGURE.format(name)}. A "
        f"transfer made with noise reduction out is put right by {DECODE.format(name)}."
    )


def _dirt(session: SessionRecord) -> str:
    """The state of the heads that the figures are for, and what they recorded before they were cleaned."""
    clean, lost = "These figures are for tapes recorded with clean heads.", lost_by_dirt(session)
    if lost is None:
        return clean
    more = f"{with_uncertainty(lost[0].value, 'dB', lost[0].uncertainty)} dB more at {hertz(lost[1])}"
    lost_before = f"Before cleaning, record and replay together lost {more}"
    return f"{clean} {lost_before}, so the last tapes may be duller by up to that."


def choice_lines(session: SessionRecord) -> tuple[str, ...]:
    """How tapes play if replay is kept as it is, and if it is set to the standard; a line for each."""
    try:
        found = choice(session)
    except Problem as problem:
        return (f"No figures for this choice, because {problem.sentence}.",)
    if found.own_if_standard.because:
        return (f"No figures for this choice, because {found.own_if_standard.because}.",)
    return (
        f"Kept, the owner's tapes: {_in_short(found.own_if_kept)}",
        f"Kept, tapes from elsewhere that are right: {_in_short(found.others_if_kept)}",
        f"Standard, the owner's tapes: {_in_short(found.own_if_standard)}",
        "Standard, tapes from elsewhere that are right: as they were recorded",
    )


def earlier_tapes_lines(found: Pair) -> list[str]:
    """Every figure of as-found tapes on the machine as left, one per line."""
    if found.because:
        return [f"  no figure, because {found.because}"]
    out = [f"  level, {CHANNELS[c]}: {_value(v, 'dB')} dB" for c, v in found.level.items()]
    for (channel, hz), v in sorted(found.response.items(), key=lambda item: (SIDES.index(item[0][0]), item[0][1])):
        out.append(f"  {hertz(hz)} relative to 400 Hz, {CHANNELS[channel]}: {_value(v, 'dB')} dB")
    if found.azimuth and found.azimuth_loss and found.treble_hz:
        loss = f"{_value(found.azimuth_loss, 'dB')} dB at {hertz(found.treble_hz)}"
        out.append(f"  azimuth: {_value(found.azimuth, 'µs')} µs, which costs {loss}")
    if found.speed:
        out.append(f"  speed: {_value(found.speed, '%')} %")
    heard = _heard(found)
    return [*out, f"  {heard}"] if heard else out


def _in_short(found: Pair) -> str:
    """The worse channel of each figure."""
    if found.because:
        return f"no figures, because {found.because}"
    level = max(found.level.values(), key=lambda v: abs(v.value), default=None)
    treble = max(filter(None, map(found.treble, SIDES)), key=lambda v: abs(v.value), default=None)
    parts = [f"level {_value(level, 'dB')} dB"] if level else []
    parts += [f"{hertz(found.treble_hz)} {_value(treble, 'dB')} dB"] if treble and found.treble_hz else []
    parts += [f"speed {_value(found.speed, '%')} %"] if found.speed else []
    parts += [f"with Type B at worst {_value(found.mistracking.worst, 'dB')} dB"] if found.mistracking else []
    return ", ".join(parts)


def _figures(found: Pair) -> str:
    """Level, treble where it is worst, azimuth and speed."""
    sides = [c for c in SIDES if c in found.level or found.treble(c)]
    parts = []
    levels = [f"{_value(found.level[c], 'dB')} dB{_in(c, sides)}" for c in sides if c in found.level]
    parts.append(f"level {listed(levels)}" if levels else "level not known")
    worst = []
    for side in sides:
        treble = [(v, hz) for (channel, hz), v in found.response.items() if channel == side and hz >= TREBLE_FROM_HZ]
        if treble:
            value, hz = max(treble, key=lambda t: abs(t[0].value))
            worst.append(f"{_value(value, 'dB')} dB at {hertz(hz)}{_in(side, sides)}")
    parts += [f"treble at worst {listed(worst)}"] if worst else []
    if found.azimuth_loss and found.treble_hz:
        parts.append(f"of which azimuth makes {_value(found.azimuth_loss, 'dB')} dB at {hertz(found.treble_hz)}")
    parts.append(f"speed {_value(found.speed, '%')} %" if found.speed else "speed not known")
    return ", ".join(parts)


def _heard(found: Pair) -> str:
    """What noise reduction does to the error."""
    worst = found.mistracking
    if worst is None:
        return ""
    return (
        f"With Type B noise reduction in, the worst that is heard is {_value(worst.worst, 'dB')} dB at "
        f"{hertz(worst.frequency_hz)} at {decibels(worst.level_db)} in the {CHANNELS[worst.channel]} channel "
        f"({decibels(round(worst.mistracking_db, 1))} of it mistracking)"
    )


def _in(channel: Channel, sides: list[Channel]) -> str:
    return f" ({CHANNELS[channel]})" if len(sides) > 1 else ""


def _value(found: Value, unit: str) -> str:
    return with_uncertainty(found.value, unit, found.uncertainty, sign=True)
